"""One day of a model on given durations, by exactly the dispatch policy.

Written to be read: the plain twin that anything faster is compared with, bit by bit. Times are IEEE doubles in minutes;
a stage that starts at t and lasts d ends at t + d.

Three things the policy leaves open, as settled here:

- Within a phase grants are made one by one in queue order over all pools, and a unit that asks again at the same
  instant joins the queue at once.
- Closing is asked about whenever something is about to be granted to a stage (and when a stage that takes nothing is
  about to start), not while a unit merely waits.
- A gate that nobody can open any more, because those who would have were not begun, is closed for the day: who waits
  for it is not begun either.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import Enum, auto

from benchday.domain.errors import InputError
from benchday.planning.model import Durations, Model, ModelUnit, Stage, checked, pools_by_name
from benchday.planning.policy import Ask, Phase, next_grant, too_late


@dataclass(frozen=True, slots=True)
class Day:
    """What came of it, by unit in the order of the model."""

    starts: tuple[tuple[float, ...], ...]
    """Of each stage that began, minutes."""
    ends: tuple[tuple[float, ...], ...]
    finish: tuple[float | None, ...]
    """End of the last stage; None if the unit was not begun."""
    not_begun: tuple[str, ...]
    """Units that closing time kept from a stage."""

    @property
    def makespan(self) -> float:
        """The largest end of any unit's last stage."""
        return max((end for end in self.finish if end is not None), default=0.0)


class DayCannotEnd(InputError):
    """Units wait for what nobody will ever free or open."""


class _What(Enum):
    ARRIVES = auto()
    ENDS = auto()
    BREAK_OVER = auto()


@dataclass(slots=True)
class _Progress:
    """One unit on its way."""

    unit: ModelUnit
    position: int
    stage_number: int = -1
    taken: int = 0
    """How many of the stage's takes it has."""
    asked_at: float | None = None
    """When it asked for the next one; None if it asks for nothing."""
    at_gate: str | None = None
    held: Counter[str] = field(default_factory=Counter)
    starts: list[float] = field(default_factory=list)
    ends: list[float] = field(default_factory=list)
    finish: float | None = None
    not_begun: bool = False

    @property
    def stage(self) -> Stage:
        return self.unit.stages[self.stage_number]

    @property
    def over(self) -> bool:
        return self.not_begun or self.finish is not None

    def ask(self) -> Ask | None:
        if self.asked_at is None:
            return None
        pool = self.stage.takes[self.taken]
        return Ask(self.unit.id, pool, self.unit.priority, self.asked_at, self.position)


def run(model: Model, durations: Durations) -> Day:
    """Run one day.

    Args:
        model: the day.
        durations: minutes of each unit's stages.

    Raises:
        InputError: the durations are not those of this model.
        DayCannotEnd: units wait for ever; the text says which and for what.
    """
    return _Running(model, checked(model, durations)).to_the_end()


class _Running:
    """The loop: events in order of time, all of an instant together, then grants until nothing is granted."""

    def __init__(self, model: Model, durations: Durations) -> None:
        self._model = model
        self._durations = durations
        self._pools = pools_by_name(model)
        self._free = {pool.name: pool.count for pool in model.pools}
        self._units = [_Progress(unit, position) for position, unit in enumerate(model.units)]
        self._open_gates: set[str] = set()
        self._events: list[tuple[float, int, _What]] = [
            (u.unit.arrival, u.position, _What.ARRIVES) for u in self._units
        ]
        breaks = {end for pool in model.pools for _, end in pool.breaks}
        self._events += [(end, -1, _What.BREAK_OVER) for end in breaks]
        # Position decides among events of one instant; a unit has one event at a time, breaks share -1 but not a time.
        heapq.heapify(self._events)

    def to_the_end(self) -> Day:
        while self._events:
            now = self._events[0][0]
            self._happens(now)
            while self._grant_one(now, Phase.PLACES) or self._grant_hands(now):
                pass

        self._must_be_over()
        return Day(
            starts=tuple(tuple(u.starts) for u in self._units),
            ends=tuple(tuple(u.ends) for u in self._units),
            finish=tuple(u.finish for u in self._units),
            not_begun=tuple(u.unit.id for u in self._units if u.not_begun),
        )

    def _happens(self, now: float) -> None:
        """Phase (a): everything that ends or arrives now frees its resources and puts its next ask."""
        happening = []
        while self._events and self._events[0][0] == now:
            _, position, what = heapq.heappop(self._events)
            if what is not _What.BREAK_OVER:
                happening.append((self._units[position], what))
        for unit, what in happening:
            if what is _What.ENDS:
                self._end_stage(unit, now)
        # Every gate that opens now is open before anybody looks at one.
        for unit, _ in happening:
            self._next_stage(unit, now)
        for unit in self._units:
            if unit.at_gate in self._open_gates:
                unit.at_gate = None
                self._ask(unit, now)

    def _end_stage(self, unit: _Progress, now: float) -> None:
        unit.ends.append(now)
        for pool in unit.stage.frees:
            self._give_back(unit, pool, 1)
        if unit.stage.opens is not None:
            self._open_gates.add(unit.stage.opens)

    def _next_stage(self, unit: _Progress, now: float) -> None:
        unit.stage_number += 1
        unit.taken = 0
        if unit.stage_number == len(unit.unit.stages):
            unit.finish = now
            self._close_dead_gates()
        elif unit.stage.waits_for is not None and unit.stage.waits_for not in self._open_gates:
            unit.at_gate = unit.stage.waits_for
            self._close_dead_gates()
        else:
            self._ask(unit, now)

    def _ask(self, unit: _Progress, now: float) -> None:
        """Ask for the stage's next thing, or start it if it has all."""
        if unit.taken < len(unit.stage.takes):
            unit.asked_at = now
        elif unit.taken == 0 and self._kept_out(unit, now):
            self._not_begun(unit)
        else:
            self._start(unit, now)

    def _start(self, unit: _Progress, now: float) -> None:
        unit.asked_at = None
        unit.starts.append(now)
        end = now + self._durations[unit.position][unit.stage_number]
        heapq.heappush(self._events, (end, unit.position, _What.ENDS))

    def _grant_hands(self, now: float) -> bool:
        """Phase (c): grant all hands that can be granted; tell whether any were."""
        granted = False
        while self._grant_one(now, Phase.HANDS):
            granted = True

        return granted

    def _grant_one(self, now: float, phase: Phase) -> bool:
        asks = [ask for unit in self._units if (ask := unit.ask()) is not None]
        granted = next_grant(self._pools, self._free, asks, phase, now)
        if granted is None:
            return False

        unit = self._units[granted.position]
        unit.asked_at = None
        if self._kept_out(unit, now):
            self._not_begun(unit)
            return True
        self._free[granted.pool] -= 1
        unit.held[granted.pool] += 1
        unit.taken += 1
        self._ask(unit, now)
        return True

    def _kept_out(self, unit: _Progress, now: float) -> bool:
        return too_late(now, unit.stage.guard, self._model.close)

    def _not_begun(self, unit: _Progress) -> None:
        unit.asked_at = unit.at_gate = None
        unit.not_begun = True
        for pool, count in tuple(unit.held.items()):
            self._give_back(unit, pool, count)
        self._close_dead_gates()

    def _close_dead_gates(self) -> None:
        """Let go whoever waits for a gate that only units not begun would have opened."""
        for unit in self._units:
            if unit.at_gate is not None and unit.at_gate not in self._open_gates and self._dead(unit.at_gate):
                self._not_begun(unit)

    def _dead(self, gate: str) -> bool:
        return all(u.not_begun for u in self._units if any(stage.opens == gate for stage in u.unit.stages))

    def _give_back(self, unit: _Progress, pool: str, count: int) -> None:
        unit.held[pool] -= count
        self._free[pool] += count

    def _must_be_over(self) -> None:
        stuck = [_waits(unit) for unit in self._units if not unit.over]
        if stuck:
            raise cannot_end(stuck)


def _waits(unit: _Progress) -> str:
    held = [pool for pool, count in unit.held.items() if count]
    pool = None if unit.at_gate is not None else unit.stage.takes[unit.taken]
    return waits_text(unit.unit.id, unit.stage.name, held, gate=unit.at_gate, pool=pool)


def waits_text(unit: str, stage: str, held: Iterable[str], *, gate: str | None, pool: str | None) -> str:
    """Say what a unit waits for, before which stage, and what others may not have meanwhile."""
    holding = f" and holds {listing}" if (listing := ", ".join(sorted(held))) else ""
    waits_for = f"gate {gate}" if gate is not None else pool
    return f"unit {unit} waits for {waits_for} to begin {stage}{holding}"


def cannot_end(waiting: Iterable[str]) -> DayCannotEnd:
    """Make the error of a day in which these wait for ever."""
    return DayCannotEnd("this day cannot end: " + "; ".join(waiting))
