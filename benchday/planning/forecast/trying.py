"""Orders tried on the same days: what comes of each, and whether one is better than another."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from benchday.planning.engine import DayCannotEnd
from benchday.planning.forecast import compiled, loop
from benchday.planning.forecast.bounds import Bound, lower_bound
from benchday.planning.forecast.days import advances
from benchday.planning.forecast.engines import Engine
from benchday.planning.forecast.kernel_places import PRIORITY, UNIT_Y, UNIT_Y_COLUMNS
from benchday.planning.forecast.prepared import Prepared
from benchday.planning.forecast.spread import Spread
from benchday.planning.model import Model

AT_ONCE = 8
"""Days that are run before it is asked whether the order is still worth it, where many are run at once."""
P80 = 0.8


@dataclass(frozen=True, slots=True, order=True)
class Score:
    """What comes of an order, the weightiest first; the smaller, the better."""

    left_out: float
    """Units a day that come and that closing keeps from a stage."""
    late: float
    """Weighted minutes by which promises are missed, the mean of the days."""
    end: float
    """Minutes: the day's end in 80 of 100 days."""
    mean_end: float


@dataclass(frozen=True, slots=True)
class Promise:
    """So many units were promised together; the last of them counts."""

    units: tuple[int, ...]
    """Places in the model."""
    minutes: float
    weight: float = 1.0

    def late(self, finish: Sequence[float]) -> float:
        """Return the weighted minutes by which it is missed; a unit that is not begun is counted elsewhere."""
        last = max((end for u in self.units if not math.isnan(end := finish[u])), default=-math.inf)
        return self.weight * max(last - self.minutes, 0.0)


def promises_of(
    model: Model, crews: Mapping[str, Sequence[str]] | None = None, weights: Mapping[str, float] | None = None
) -> tuple[Promise, ...]:
    """Return the promises of a day.

    Args:
        model: the day; what was promised stands with each unit.
        crews: crew -> its units, which are promised together where for the same time; else each stands for itself.
        weights: crew -> how much a minute counts for it; 1 where not given.
    """
    of = {unit: crew for crew, units in (crews or {}).items() for unit in units}
    together: dict[tuple[str, float], list[int]] = {}
    for place, unit in enumerate(model.units):
        if unit.promised is not None:
            # No crew is called as a unit is with a space before it.
            together.setdefault((of.get(unit.id, f" {unit.id}"), unit.promised), []).append(place)
    return tuple(
        Promise(tuple(units), minutes, (weights or {}).get(crew, 1.0)) for (crew, minutes), units in together.items()
    )


class Runs(Protocol):
    """The same days, run with one priority after another."""

    def run(self, priorities: Sequence[float], first: int, past: int) -> Sequence[tuple[Sequence[float], float]]:
        """Return each unit's finish, and the makespan, of these days."""
        ...


class PlainRuns:
    """Days run by the plain loop."""

    def __init__(self, prepared: Prepared, days: Sequence[Sequence[float]]) -> None:
        self._prepared, self._days = prepared, days

    def run(self, priorities: Sequence[float], first: int, past: int) -> Sequence[tuple[Sequence[float], float]]:
        """Run them one by one."""
        prepared = self._prepared.variant(priorities=priorities)
        told = (loop.day_times(prepared, day) for day in self._days[first:past])
        return [(times.finish, times.makespan) for times in told]


class CompiledRuns:
    """Days run by the compiled loop: only the priorities are put into its arrays anew."""

    def __init__(self, prepared: Prepared, days: Sequence[Sequence[float]]) -> None:
        numpy = compiled.numpy()
        self._kernel, self._day = compiled.kernel(), compiled.day_arrays(prepared)
        first = int(self._day.x[UNIT_Y]) + PRIORITY
        past = first + UNIT_Y_COLUMNS * prepared.units
        self._priorities = self._day.fresh.y[first:past:UNIT_Y_COLUMNS]
        self._days = numpy.array(days, dtype="float64")
        self._finishes = numpy.empty((len(days), prepared.units))
        self._makespans = numpy.empty(len(days))
        # Nothing is watched, but the loop wants room for it.
        self._watched = self._kernel.Watched(
            parts=numpy.zeros((1, 1)),
            more=numpy.zeros((1, 1), dtype="int64"),
            grants=numpy.zeros(1, dtype="int64"),
            waiting=numpy.zeros(1),
            width=1.0,
        )
        self._plain = PlainRuns(prepared, days)

    def run(self, priorities: Sequence[float], first: int, past: int) -> Sequence[tuple[Sequence[float], float]]:
        """Run them at once."""
        self._priorities[:] = priorities
        day, rows = self._day, slice(first, past)
        finishes, makespans = self._finishes[rows], self._makespans[rows]
        block = self._kernel.Block(self._days[rows], finishes, makespans, 0)
        stuck = self._kernel.run_block(day.x, day.y, day.fresh, block, self._watched)
        if stuck >= 0:
            # The plain loop says who waits for what.
            return self._plain.run(priorities, first, past)
        return list(zip(finishes.tolist(), makespans.tolist(), strict=True))


def runs(prepared: Prepared, days: Sequence[Sequence[float]], engine: Engine) -> Runs:
    """Return what runs these days."""
    # Where a duration is too short to be noticed in a sum, only the plain loop knows what to do.
    safe = all(advances(prepared, min(day, default=1.0), sum(day)) for day in days)
    return CompiledRuns(prepared, days) if engine is Engine.COMPILED and safe else PlainRuns(prepared, days)


class Trials:
    """Some days, and orders tried on them."""

    def __init__(
        self, prepared: Prepared, days: Sequence[Sequence[float]], promises: Sequence[Promise], engine: Engine
    ) -> None:
        self.days = len(days)
        self.bounds: tuple[Bound, ...] = tuple(lower_bound(prepared, day) for day in days)
        self._runs = runs(prepared, days, engine)
        self._promises = promises
        self._step = AT_ONCE if engine is Engine.COMPILED else 1
        self._past_p80 = self.days - math.floor(P80 * (self.days - 1)) if self.days else 0

    def score(self, priorities: Sequence[float], to_beat: Score | None = None) -> Score | None:
        """Return what comes of an order; None if with it a day cannot end, or as soon as it is seen to be worse.

        Args:
            priorities: of each unit.
            to_beat: of another order on the same days.
        """
        try:
            return self._score(priorities, to_beat)
        except DayCannotEnd:
            return None

    def _score(self, priorities: Sequence[float], to_beat: Score | None) -> Score | None:
        sums, ends = _Sums(), list[float]()
        for first in range(0, self.days, self._step):
            past = min(first + self._step, self.days)
            for finish, end in self._runs.run(priorities, first, past):
                bound = self.bounds[len(ends)]
                sums.left_out += sum(math.isnan(finish[unit]) for unit in bound.units)
                sums.late += sum(promise.late(finish) for promise in self._promises)
                ends.append(end)
            if to_beat is not None and self._worse(sums, ends, to_beat):
                return None
        spread = Spread.of(ends)
        return Score(sums.left_out / self.days, sums.late / self.days, spread.quantile(P80) or 0.0, spread.mean or 0.0)

    def _worse(self, sums: _Sums, ends: Sequence[float], to_beat: Score) -> bool:
        """Tell whether nothing that the days to come bring can make it as good."""
        left_out, late = sums.left_out / self.days, sums.late / self.days
        if left_out > to_beat.left_out:
            return True
        if left_out < to_beat.left_out:
            return False
        if late > to_beat.late:
            return True
        return late >= to_beat.late and sum(end > to_beat.end for end in ends) >= self._past_p80

    def whole(self, priorities: Sequence[float]) -> Score:
        """Return what comes of an order on all days.

        Raises:
            DayCannotEnd: units wait for ever; the text says which and for what.
        """
        score = self._score(priorities, None)
        assert score is not None  # noqa: S101 - nothing to beat
        return score

    def above_bound(self, priorities: Sequence[float]) -> tuple[float, float] | None:
        """Return the mean end and the mean bound of the days on which all that come are begun; None if on none."""
        pairs = [
            (end, bound.minutes)
            for (finish, end), bound in zip(self._runs.run(priorities, 0, self.days), self.bounds, strict=True)
            if not any(math.isnan(finish[unit]) for unit in bound.units)
        ]
        if not pairs:
            return None
        return sum(end for end, _ in pairs) / len(pairs), sum(bound for _, bound in pairs) / len(pairs)


@dataclass(slots=True)
class _Sums:
    left_out: float = 0.0
    late: float = 0.0
