"""How busy each pool is over the day, and how long units wait for it, over the replications that are looked at."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate

from benchday.planning.forecast.days import DayTimes, begun, held_by
from benchday.planning.forecast.prepared import Prepared

WATCHED = 64
"""Replications whose pools are looked at; more would not change what is read off a picture."""
SLOTS = 288
WIDTHS = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0)
"""Minutes of a slot; beyond, whole hours."""


@dataclass(frozen=True, slots=True)
class PoolUse:
    """One pool's day, the mean of many."""

    name: str
    count: int
    slot_minutes: float
    busy: tuple[float, ...]
    """How many are in use in each slot, from minute 0 on."""
    grants: float
    """How often one is granted in a day."""
    waiting: float
    """Minutes that all units together wait for it in a day, breaks among them."""

    @property
    def wait(self) -> float:
        """Minutes that one who asks for it waits."""
        return self.waiting / self.grants if self.grants else 0.0

    def full(self, share: float = 0.9) -> tuple[tuple[float, float], ...]:
        """Return the intervals, minutes, in which at least this share of the pool is in use."""
        intervals: list[tuple[float, float]] = []
        for slot, busy in enumerate(self.busy):
            if self.count and busy >= share * self.count:
                begins, ends = slot * self.slot_minutes, (slot + 1) * self.slot_minutes
                joins = bool(intervals) and intervals[-1][1] == begins
                intervals[-1:] = [(intervals[-1][0], ends)] if joins else [*intervals[-1:], (begins, ends)]
        return tuple(intervals)


@dataclass(slots=True)
class PoolTally:
    """Sums over days."""

    prepared: Prepared
    width: float
    days: int = 0
    parts: list[list[float]] = field(default_factory=list)
    """Of each pool and slot: minutes until the slot's end of what begins in it, less those of what ends in it."""
    more: list[list[int]] = field(default_factory=list)
    """Of each pool and slot: how many more begin than end in it."""
    grants: list[int] = field(default_factory=list)
    waiting: list[float] = field(default_factory=list)

    @classmethod
    def begun_with(cls, prepared: Prepared, makespan: float) -> PoolTally:
        """Choose a grid that holds twice such a day."""
        least = 2 * makespan / SLOTS
        width = next((w for w in WIDTHS if w >= least), 60.0 * math.ceil(least / 60))
        pools = len(prepared.counts)
        slots, steps = ([[0.0] * (SLOTS + 1) for _ in range(pools)], [[0] * (SLOTS + 1) for _ in range(pools)])
        return cls(prepared, width, 0, slots, steps, [0] * pools, [0.0] * pools)

    def add(self, durations: Sequence[float], times: DayTimes) -> None:
        """Add one day."""
        self.days += 1
        table = self.prepared.table
        for unit, first in enumerate(self.prepared.stretch_first[:-1]):
            for stretch in range(first, times.reached[unit]):
                self._takes(stretch, times)
                end = begun(self.prepared, times, stretch)
                for stage in range(table.firsts[stretch], table.pasts[stretch]):
                    end += durations[stage]
                for pool in table.frees[stretch]:
                    self._changes(pool, end, -1)
            if not math.isnan(times.left[unit]):
                self._left(unit, times)

    def _takes(self, stretch: int, times: DayTimes) -> None:
        table = self.prepared.table
        since = times.asked[stretch]
        for take, pool in enumerate(table.takes[stretch], table.take_first[stretch]):
            granted = times.granted[take]
            if math.isnan(granted):
                return
            self.grants[pool] += 1
            self.waiting[pool] += granted - since
            since = granted
            self._changes(pool, granted, 1)

    def _left(self, unit: int, times: DayTimes) -> None:
        """A unit that was sent away held things until then, some perhaps for the stretch it did not begin."""
        stretch = times.reached[unit]
        self._takes(stretch, times)
        first, past = self.prepared.table.take_first[stretch : stretch + 2]
        taken = sum(not math.isnan(granted) for granted in times.granted[first:past])
        for pool, count in held_by(self.prepared, unit, stretch, taken).items():
            self._changes(pool, times.left[unit], -count)

    def _changes(self, pool: int, time: float, by: int) -> None:
        slot = min(int(time / self.width), SLOTS - 1) if time > 0 else 0
        self.parts[pool][slot] += by * ((slot + 1) * self.width - time)
        self.more[pool][slot + 1] += by

    def uses(self) -> tuple[PoolUse, ...]:
        """Return the means."""
        return tuple(self._use(number) for number in range(len(self.prepared.counts)))

    def _use(self, number: int) -> PoolUse:
        days = max(self.days, 1)
        whole = list(accumulate(self.more[number]))
        busy = [(part / self.width + full) / days for part, full in zip(self.parts[number], whole, strict=True)][:SLOTS]
        while busy and abs(busy[-1]) < 1e-9:
            busy.pop()
        return PoolUse(
            name=self.prepared.base.pools[number].name,
            count=self.prepared.counts[number],
            slot_minutes=self.width,
            busy=tuple(busy),
            grants=self.grants[number] / days,
            waiting=self.waiting[number] / days,
        )
