"""A model turned once into flat tuples of numbers, for loops that run it many thousand times.

Stages that follow one another without taking, freeing, opening or waiting for anything are one stretch: nobody else can
notice where one ends and the next begins. Their durations are still added one by one, in order, so that every time is
the same double as in the plain loop. Arrival begins a unit's first stretch, of no stage or of those that take nothing.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.policy import Phase

NONE = -1
"""No gate, nothing to ask for."""
AT_ONCE = -2
"""Begins as soon as the stretch before it has ended, if its guard lets it."""
OVER = -3
"""What would be asked for belongs to the next unit: this one has gone through all its stretches."""
OPENS = -4
"""The end of the stretch before it opens a gate, so that others are to be looked at too."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Stages of one unit that nobody can come between."""

    first: int
    """Number of its first stage, counted through all units."""
    past: int
    """Number of the stage after its last."""
    takes: tuple[int, ...] = ()
    """Pools by number, in the order in which they are asked for."""
    frees: tuple[int, ...] = ()
    opens: int = NONE
    """Gate by number that its end opens."""
    waits_for: int = NONE
    guard: float = -math.inf
    """Minutes that must be left until closing when it begins; minus infinity if it has none."""
    arrival: bool = False
    """It is a unit's first."""

    @property
    def asks(self) -> int:
        """Return what is asked for first."""
        return NONE if self.waits_for != NONE else self.asks_after_gate

    @property
    def asks_after_gate(self) -> int:
        """Return what is asked for first, the gate being open."""
        if self.arrival:
            return OVER
        if self.takes:
            return self.takes[0]
        return AT_ONCE


@dataclass(frozen=True, slots=True)
class Table:
    """All stretches of a day by column, one unit after the other; variants of a day share it."""

    firsts: tuple[int, ...]
    pasts: tuple[int, ...]
    takes: tuple[tuple[int, ...], ...]
    take_first: tuple[int, ...]
    """Number of each stretch's first take, counted through all stretches, and one past the last."""
    frees: tuple[tuple[int, ...], ...]
    opens: tuple[int, ...]
    waits_for: tuple[int, ...]
    guards: tuple[float, ...]
    stages: tuple[range, ...]
    """Of each stretch, its stages by number."""
    asks: tuple[int, ...]
    """Of each stretch and one past the last, the pool it asks for first if no gate stands before it; -2 if it begins at
    once, -3 if it is a unit's first or one past the last, -4 if the one before it opens a gate; else -1."""
    asks_after_gate: tuple[int, ...]
    """The same once its gate is open."""
    gated: tuple[tuple[int, ...], ...]
    """Of each gate, the stretches that wait for it."""
    singles: tuple[bool, ...]
    """Of each stretch: it takes exactly one thing."""
    freely: tuple[bool, ...]
    """Of each stretch: it takes exactly one thing, and nothing guards it."""
    guarded: tuple[bool, ...]
    """Of each stretch: it is not begun too late before closing."""
    last_take: tuple[int, ...]
    """Of each stretch: the number of its last take, from 0; -1 if it takes nothing."""

    @classmethod
    def of(cls, stretches: Sequence[Stretch], gates: int) -> Table:
        """Turn rows into columns."""
        opening = [False, *(s.opens != NONE for s in stretches)]
        asks = [*(s.asks for s in stretches), OVER]
        return cls(
            firsts=tuple(s.first for s in stretches),
            pasts=tuple(s.past for s in stretches),
            takes=tuple(s.takes for s in stretches),
            take_first=tuple(accumulate((len(s.takes) for s in stretches), initial=0)),
            frees=tuple(s.frees for s in stretches),
            opens=tuple(s.opens for s in stretches),
            waits_for=tuple(s.waits_for for s in stretches),
            guards=tuple(s.guard for s in stretches),
            stages=tuple(range(s.first, s.past) for s in stretches),
            asks=tuple(OPENS if opens else what for what, opens in zip(asks, opening, strict=True)),
            asks_after_gate=tuple(
                OPENS if opens else s.asks_after_gate for s, opens in zip(stretches, opening, strict=False)
            ),
            gated=tuple(tuple(n for n, s in enumerate(stretches) if s.waits_for == gate) for gate in range(gates)),
            singles=tuple(len(s.takes) == 1 for s in stretches),
            freely=tuple(len(s.takes) == 1 and s.guard == -math.inf for s in stretches),
            guarded=tuple(s.guard > -math.inf for s in stretches),
            last_take=tuple(len(s.takes) - 1 for s in stretches),
        )


@dataclass(frozen=True, slots=True)
class Prepared:
    """A day to be run: what a model says, as numbers."""

    base: Model
    priorities: tuple[float, ...]
    arrivals: tuple[float, ...]
    counts: tuple[int, ...]
    """How many each pool has."""
    hands: tuple[bool, ...]
    """Of each pool: it is hands, and granted after places."""
    breaks: tuple[tuple[tuple[float, float], ...], ...]
    """Of each pool."""
    close: float
    """Infinite if the model has none."""
    table: Table
    stretch_first: tuple[int, ...]
    """Number of each unit's first stretch, and one past the last unit's last."""
    stage_first: tuple[int, ...]
    """Number of each unit's first stage, and one past the last unit's last."""
    gates: tuple[str, ...]
    opened_by: tuple[tuple[int, ...], ...]
    """Of each unit: gates that it opens, each once."""
    turns: tuple[float, ...]
    """When it changes whether anybody has a break, minutes, the earliest last; nobody has one to begin with. The first
    never comes."""
    changed: bool = False
    """It is a variant of its base."""

    @property
    def units(self) -> int:
        """How many units."""
        return len(self.arrivals)

    @property
    def stages(self) -> int:
        """How many stages, of all units together."""
        return self.stage_first[-1]

    @property
    def model(self) -> Model:
        """The model with this variant's priorities, arrivals and counts."""
        if not self.changed:
            return self.base
        units = tuple(
            replace(unit, priority=priority, arrival=arrival)
            for unit, priority, arrival in zip(self.base.units, self.priorities, self.arrivals, strict=True)
        )
        pools = tuple(replace(pool, count=count) for pool, count in zip(self.base.pools, self.counts, strict=True))
        return replace(self.base, units=units, pools=pools)

    def variant(
        self,
        *,
        priorities: Sequence[float] | None = None,
        arrivals: Sequence[float] | None = None,
        counts: Sequence[int] | None = None,
    ) -> Prepared:
        """Return the same day with other priorities, arrivals or counts; stages and laws stay.

        Raises:
            ValueError: another number of them than units or pools.
        """
        changed = replace(
            self,
            changed=True,
            priorities=tuple(priorities) if priorities is not None else self.priorities,
            arrivals=tuple(arrivals) if arrivals is not None else self.arrivals,
            counts=tuple(counts) if counts is not None else self.counts,
        )
        if (len(changed.priorities), len(changed.arrivals), len(changed.counts)) != (
            self.units,
            self.units,
            len(self.counts),
        ):
            raise ValueError(f"a variant needs {self.units} priorities and arrivals and {len(self.counts)} counts")
        return changed


def prepare(model: Model, *, joined: bool = True) -> Prepared:
    """Turn a model into numbers.

    Args:
        model: the day.
        joined: False makes each stage a stretch of its own.
    """
    pools = {pool.name: number for number, pool in enumerate(model.pools)}
    gates = {name: n for n, name in enumerate(_gates(model))}
    stage_first = tuple(accumulate((len(unit.stages) for unit in model.units), initial=0))
    by_unit = [
        _stretches(unit, first, pools, gates, closes=model.close is not None, join=joined)
        for unit, first in zip(model.units, stage_first, strict=False)
    ]
    return Prepared(
        base=model,
        priorities=tuple(float(unit.priority) for unit in model.units),
        arrivals=tuple(float(unit.arrival) for unit in model.units),
        counts=tuple(pool.count for pool in model.pools),
        hands=tuple(pool.phase is Phase.HANDS for pool in model.pools),
        breaks=tuple(pool.breaks for pool in model.pools),
        close=math.inf if model.close is None else model.close,
        table=Table.of([stretch for stretches in by_unit for stretch in stretches], len(gates)),
        stretch_first=tuple(accumulate(map(len, by_unit), initial=0)),
        stage_first=stage_first,
        gates=tuple(gates),
        turns=_turns(pool.breaks for pool in model.pools),
        opened_by=tuple(tuple({gates[s.opens]: None for s in u.stages if s.opens is not None}) for u in model.units),
    )


def _turns(of_pools: Iterable[Sequence[tuple[float, float]]]) -> tuple[float, ...]:
    changes = Counter[float]()
    for start, end in (each for breaks in of_pools for each in breaks):
        changes[start] += 1
        changes[end] -= 1
    turns, resting = [], 0
    for at in sorted(changes):
        before, resting = resting, resting + changes[at]
        if bool(before) != bool(resting):
            turns.append(at)

    return (math.inf, *reversed(turns))


def _gates(model: Model) -> list[str]:
    return list(dict.fromkeys(s.opens for unit in model.units for s in unit.stages if s.opens is not None))


def _stretches(
    unit: ModelUnit, first: int, pools: dict[str, int], gates: dict[str, int], *, closes: bool, join: bool
) -> list[Stretch]:
    """Join what can be joined; the first stretch is the arrival."""
    joined = [Stretch(first, first, arrival=True)]
    for number, stage in enumerate(unit.stages, first):
        last = joined[-1]
        guarded = closes and stage.guard is not None
        apart = last.frees or last.opens != NONE or stage.takes or stage.waits_for is not None or guarded
        if apart or not join:
            joined.append(_begun_with(stage, number, pools, gates, guarded=guarded))
        joined[-1] = _ended_with(joined[-1], stage, number, pools, gates)

    return joined


def _begun_with(stage: Stage, number: int, pools: dict[str, int], gates: dict[str, int], *, guarded: bool) -> Stretch:
    return Stretch(
        number,
        number,
        takes=tuple(pools[name] for name in stage.takes),
        waits_for=NONE if stage.waits_for is None else gates[stage.waits_for],
        guard=stage.guard if guarded and stage.guard is not None else -math.inf,
    )


def _ended_with(stretch: Stretch, stage: Stage, number: int, pools: dict[str, int], gates: dict[str, int]) -> Stretch:
    # Written out: replace() takes five times as long, for each stage of each day that is foreseen.
    return Stretch(
        stretch.first,
        number + 1,
        takes=stretch.takes,
        frees=tuple(pools[name] for name in stage.frees),
        opens=NONE if stage.opens is None else gates[stage.opens],
        waits_for=stretch.waits_for,
        guard=stretch.guard,
        arrival=stretch.arrival,
    )
