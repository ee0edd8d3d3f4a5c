"""In which order units go first where they ask for the same: searched on the forecast's own loop.

Two units change places, or one moves, in a list; the days are run anew, and what is not worse, or hardly, is gone on
from; the best is kept. First on usual durations, then on drawn days, the same for every order. It begins with simple
rules, can be stopped at any time, and never returns what is worse than first come on the same drawn days.
"""

from __future__ import annotations

import math
import random
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from benchday.planning.forecast import draws
from benchday.planning.forecast.engines import Engine, best, choose
from benchday.planning.forecast.prepared import NONE, Prepared, prepare
from benchday.planning.forecast.trying import Promise, Score, Trials, promises_of
from benchday.planning.laws import LEAST, Law, Retried
from benchday.planning.model import Model

ON_USUAL = 0.6
"""Share of what may be spent that goes to usual durations."""
SWAP, NEAR = 0.8, 0.3
"""How often two change places instead of one moving, and how often near places are drawn; tried on scarce days."""
SLACK = 0.001
"""By what share of the end a worse order is gone on from at first, in the mean; tried on scarce days."""
RARE = 0.5
"""What comes less often than this is not usual."""

Order = tuple[int, ...]
"""Places of units in the model, first to go first."""
Clock = Callable[[], float]


@dataclass(frozen=True, slots=True)
class Found:
    """An order, and what comes of it on the drawn days."""

    order: tuple[str, ...]
    """Ids of units, first to go first; empty where nothing better than first come was found."""
    objective: Score
    first_come: Score
    """The same, had they gone in the order in which they ask."""
    bound: tuple[float, float] | None
    """The mean end and how early it could be at the best, minutes, of the days on which all that come are begun."""
    evaluations: int
    """Orders tried."""
    draws: int
    """Drawn days on which they are compared; 0: usual durations only."""

    @property
    def late_minutes(self) -> float:
        """Weighted lateness against promises, the mean of the drawn days."""
        return self.objective.late

    @property
    def end_minutes(self) -> float:
        """The day's end in 80 of 100 drawn days."""
        return self.objective.end

    @property
    def first_come_end_minutes(self) -> float:
        """The same, had they gone in the order in which they ask."""
        return self.first_come.end

    @property
    def gap(self) -> float | None:
        """By what share the mean end is above the best possible, at most."""
        return self.bound[0] / self.bound[1] - 1 if self.bound is not None and self.bound[1] > 0 else None


def search(
    model: Model | Prepared,
    *,
    evaluations: int | None = None,
    seconds: float | None = None,
    draws: int = 40,
    seed: int = 1,
    engine: str = Engine.AUTO,
    crews: Mapping[str, Sequence[str]] | None = None,
    weights: Mapping[str, float] | None = None,
    clock: Clock = time.monotonic,
) -> Found:
    """Search an order.

    A unit whose priority is below 0 keeps it: it holds something already, or somebody put it first.

    Args:
        model: the day, prepared or not.
        evaluations: orders to be tried; equal numbers find equal orders.
        seconds: to be spent; what comes first ends the search.
        draws: days drawn; 0 for usual durations only.
        seed: of the drawn days and of the search.
        engine: a name of ``Engine``.
        crews: crew -> its units, which are promised together.
        weights: crew -> how much a minute of lateness counts for it; 1 where not given.
        clock: seconds, from anywhere.

    Raises:
        ValueError: neither a number of evaluations nor of seconds.
        DayCannotEnd: units wait for ever.
    """
    if evaluations is None and seconds is None:
        raise ValueError("a search needs a number of evaluations or of seconds")
    prepared = model if isinstance(model, Prepared) else prepare(model)
    budget = Budget(evaluations, seconds, clock)
    searching = _Searching(
        prepared, promises_of(prepared.model, crews, weights), seed, _engine(prepared, budget, engine)
    )
    return searching.search(budget, draws)


def _engine(prepared: Prepared, budget: Budget, engine: str) -> Engine:
    if engine != Engine.AUTO or budget.evaluations is None:
        return choose(prepared, 1, engine) if engine != Engine.AUTO else best()
    return choose(prepared, budget.evaluations * 10, engine)


class Budget:
    """What a search may spend."""

    def __init__(self, evaluations: int | None, seconds: float | None, clock: Clock) -> None:
        self.evaluations = evaluations
        self.spent = 0
        self._seconds, self._clock, self._since = seconds, clock, clock()

    def part(self) -> float:
        """Return what share of it is spent."""
        spent = 0.0 if self.evaluations is None else self.spent / max(self.evaluations, 1)
        if self._seconds is not None:
            spent = max(spent, (self._clock() - self._since) / self._seconds)
        return spent

    def left(self, share: float = 1.0) -> bool:
        """Tell whether less than a share of it is spent."""
        return self.part() < share


class _Searching:
    def __init__(self, prepared: Prepared, promises: Sequence[Promise], seed: int, engine: Engine) -> None:
        self._prepared, self._promises, self._engine, self._seed = prepared, promises, engine, seed
        self._source = random.Random(seed)  # noqa: S311 - reproducible, not secret
        self._moving = tuple(unit for unit, priority in enumerate(prepared.priorities) if priority >= 0)
        self._held = tuple(min(priority, -1.0) for priority in prepared.priorities)
        self._before = _before(prepared)

    def search(self, budget: Budget, count: int) -> Found:
        """Search on usual durations, then on drawn days."""
        usual = self._trials([usual_durations(self._prepared)])
        starts = [self.opened(rule) for rule in rules(self._prepared, self._promises, self._moving)]
        order, _ = self._climb(usual, starts, budget, ON_USUAL if count else 1.0)
        trials = self._trials(drawn_days(self._prepared, self._seed, count)) if count else usual
        order, score = self._climb(trials, [order, *starts], budget, 1.0)
        as_they_ask = [self._held[u] if p < 0 else 0.0 for u, p in enumerate(self._prepared.priorities)]
        first_come = trials.whole(as_they_ask)
        budget.spent += 1
        better = score is not None and score < first_come
        chosen = self.priorities(order) if better else as_they_ask
        return Found(
            order=tuple(self._prepared.base.units[unit].id for unit in (*self._first(), *order)) if better else (),
            objective=score if better and score is not None else first_come,
            first_come=first_come,
            bound=trials.above_bound(chosen) if trials.days else None,
            evaluations=budget.spent,
            draws=count,
        )

    def _trials(self, days: Sequence[Sequence[float]]) -> Trials:
        return Trials(self._prepared, days, self._promises, self._engine)

    def _first(self) -> Order:
        """Return the units that keep their priority, in the order in which they go."""
        units = [unit for unit, priority in enumerate(self._prepared.priorities) if priority < 0]
        return tuple(sorted(units, key=lambda unit: (self._prepared.priorities[unit], unit)))

    def priorities(self, order: Order) -> list[float]:
        """Return each unit's priority under an order."""
        priorities = list(self._prepared.priorities)
        for turn, unit in enumerate(order):
            priorities[unit] = float(turn)
        return priorities

    def _climb(
        self, trials: Trials, starts: Sequence[Order], budget: Budget, share: float
    ) -> tuple[Order, Score | None]:
        """Begin with the best start and go on from what is not worse, or hardly, until a share of the budget is spent.

        As in simulated annealing (Kirkpatrick, Gelatt, Vecchi 1983) with a temperature that falls to nothing.
        """
        best, best_score = starts[0], None
        for start in dict.fromkeys(starts):
            score = trials.score(self.priorities(start), best_score)
            budget.spent += 1
            if score is not None and (best_score is None or score < best_score):
                best, best_score = start, score
        order, at = best, best_score
        while len(order) > 1 and budget.left(share):
            other = self._changed(order)
            budget.spent += 1
            if other is None or at is None or best_score is None:
                continue
            allowed = self._allowed(at, 1 - budget.part() / share)
            score = trials.score(self.priorities(other), allowed)
            if score is not None and score <= allowed:
                order, at = other, score
                if score <= best_score:
                    best, best_score = other, score
        return best, best_score

    def _allowed(self, score: Score, left: float) -> Score:
        """Return a score that may not be exceeded: a little worse than this one, ever less as the budget is spent."""
        slack = 1 - SLACK * max(left, 0.0) * math.log(1 - self._source.random())
        return Score(score.left_out, score.late * slack, score.end * slack, math.inf if slack > 1 else score.mean_end)

    def _changed(self, order: Order) -> Order | None:
        """Let two change places, or move one; None where a unit would come before the one that it waits for."""
        one, other = self._two(len(order))
        changed = list(order)
        if self._source.random() < SWAP:
            changed[one], changed[other] = changed[other], changed[one]
        else:
            changed.insert(other, changed.pop(one))
        return tuple(changed) if self._in_turn(changed) else None

    def _two(self, count: int) -> tuple[int, int]:
        """Draw two places, some near each other."""
        one, other = self._source.sample(range(count), 2)
        if self._source.random() < NEAR:
            other = min(max(one + round(self._source.gauss(0, max(2, count / 10))), 0), count - 1)
            other = other if other != one else (one + 1) % count
        return one, other

    def _in_turn(self, order: Sequence[int]) -> bool:
        """Tell whether whoever opens a gate goes before those who wait for it, as it is live."""
        if not self._before:
            return True
        place = {unit: number for number, unit in enumerate(order)}
        return all(place.get(first, -1) < place.get(unit, len(order)) for unit, first in self._before.items())

    def opened(self, order: Order) -> Order:
        """Return an order with each unit that opens a gate put before the first that waits for it."""
        moved = list(order)
        for first in dict.fromkeys(self._before.values()):
            waiting = [moved.index(u) for u, opener in self._before.items() if opener == first and u in moved]
            if first in moved and waiting and min(waiting) < moved.index(first):
                moved.remove(first)
                moved.insert(min(waiting), first)
        return tuple(moved)


def _before(prepared: Prepared) -> dict[int, int]:
    """Return each unit that waits for a gate, with the first unit that opens it."""
    openers = {gate: unit for unit in reversed(range(prepared.units)) for gate in prepared.opened_by[unit]}
    found: dict[int, int] = {}
    for unit in range(prepared.units):
        for stretch in range(prepared.stretch_first[unit], prepared.stretch_first[unit + 1]):
            gate = prepared.table.waits_for[stretch]
            if gate != NONE and openers[gate] != unit:
                found.setdefault(unit, openers[gate])
    return found


def rules(prepared: Prepared, promises: Sequence[Promise], units: Sequence[int]) -> list[Order]:
    """Return the orders of simple rules: first come, longest first, earliest promised."""
    durations = usual_durations(prepared)
    work = [sum(durations[a:b]) for a, b in zip(prepared.stage_first, prepared.stage_first[1:], strict=False)]
    here = [_here(prepared, durations, unit) for unit in range(prepared.units)]
    promised = [math.inf] * prepared.units
    for promise in promises:
        for unit in promise.units:
            promised[unit] = min(promised[unit], promise.minutes)
    return [
        tuple(sorted(units, key=lambda unit: (here[unit], unit))),
        tuple(sorted(units, key=lambda unit: (-work[unit], here[unit], unit))),
        tuple(sorted(units, key=lambda unit: (promised[unit], here[unit], unit))),
    ]


def _here(prepared: Prepared, durations: Sequence[float], unit: int) -> float:
    """Return when a unit first asks for anything, as is usual."""
    first = prepared.stretch_first[unit]
    return prepared.arrivals[unit] + sum(durations[stage] for stage in prepared.table.stages[first])


def usual_durations(prepared: Prepared) -> list[float]:
    """Return the mean duration of each stage, without what comes rarely, minutes."""
    return [max(usual(stage.law), LEAST) for unit in prepared.base.units for stage in unit.stages]


def usual(law: Law) -> float:
    """Return the mean of a law, without extra time that comes rarely."""
    if isinstance(law, Retried) and law.probability < RARE:
        return usual(law.first)
    return law.mean


def drawn_days(prepared: Prepared, seed: int, count: int) -> list[Sequence[float]]:
    """Draw so many days: of each the durations of all stages."""
    return list(draws.days(draws.plan(prepared.base), seed, count))
