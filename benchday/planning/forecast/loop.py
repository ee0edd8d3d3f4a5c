"""One day in plain Python, as fast as plain Python goes: the same doubles as the loop that is written to be read.

What makes it fast: stretches instead of stages, numbers instead of objects, and after each instant a look only at those
pools that were asked for or freed in it, because no other can be granted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from heapq import heapify, heappop, heappush

from benchday.planning.engine import Day, cannot_end, waits_text
from benchday.planning.forecast.days import DayTimes, advances, apart, day_of, flat, held_by, rejoined, untold
from benchday.planning.forecast.prepared import NONE, Prepared
from benchday.planning.model import Durations, checked

_BREAK_OVER = -1
_Turn = tuple[float, float, int]
"""Priority, time of asking, unit: what every queue is ordered by."""


def replay(prepared: Prepared, durations: Durations) -> Day:
    """Run one day on given durations.

    Raises:
        InputError: the durations are not those of this model.
        DayCannotEnd: units wait for ever; the text says which and for what.
    """
    given = flat(checked(prepared.base, durations))
    return day_of(prepared, given, day_times(prepared, given))


def day_times(prepared: Prepared, durations: Sequence[float]) -> DayTimes:
    """Run one day and return its times.

    Args:
        prepared: the day.
        durations: of all stages, one unit after the other, each above 0.

    Raises:
        DayCannotEnd: units wait for ever.
    """
    if advances(prepared, durations):
        return _Running(prepared, durations).to_the_end()
    single = apart(prepared)
    return rejoined(prepared, single, _Running(single, durations).to_the_end())


class _Running:
    """A day under way."""

    __slots__ = (
        "at_gate",
        "durations",
        "events",
        "free",
        "hot",
        "opened",
        "openers",
        "prepared",
        "queues",
        "taken",
        "times",
        "woken",
    )

    def __init__(self, prepared: Prepared, durations: Sequence[float]) -> None:
        self.prepared = prepared
        self.durations = durations
        self.times = untold(prepared)
        self.free = list(prepared.counts)
        self.queues: list[list[_Turn]] = [[] for _ in prepared.counts]
        self.taken = [0] * prepared.units
        """How many of its stretch's takes each unit has."""
        self.hot: tuple[list[int], list[int]] = ([], [])
        """Places and hands that were asked for or freed and may be granted now."""
        self.at_gate: list[list[int]] = [[] for _ in prepared.gates]
        self.woken: list[int] = []
        """Units whose gate has just opened."""
        self.opened = [False] * len(prepared.gates)
        self.openers = [0] * len(prepared.gates)
        for gates in prepared.opened_by:
            for gate in gates:
                self.openers[gate] += 1
        self.events: list[tuple[float, int]] = [
            (end, _BREAK_OVER) for end in {end for breaks in prepared.breaks for _, end in breaks}
        ]

    def to_the_end(self) -> DayTimes:
        """Run; raise DayCannotEnd if somebody waits for ever."""
        self.arrive()
        events, times, hot = self.events, self.times, self.hot
        ends, goes_on = self.ends, self.goes_on
        while events:
            now, unit = heappop(events)
            if events and events[0][0] == now:
                together = [unit]
                while events and events[0][0] == now:
                    together.append(heappop(events)[1])
                self.happen(together, now)
            elif unit >= 0:
                ends(unit)
                goes_on(unit, now)
                if self.woken:
                    self.let_in(now)
            else:
                self.break_over()
            while hot[0] or hot[1]:
                self.grant(hot[0], now)
                self.grant(hot[1], now)

        self.must_be_over()
        return times

    def arrive(self) -> None:
        """Put each unit's first event, the end of its first stretch."""
        for unit, arrival in enumerate(self.prepared.arrivals):
            self.start(unit, self.prepared.stretch_first[unit], arrival)
            self.times.asked[self.prepared.stretch_first[unit]] = arrival
        heapify(self.events)

    def happen(self, together: Sequence[int], now: float) -> None:
        """Everything of one instant: first all ends, so that each gate that opens now is open, then what comes next."""
        for unit in together:
            if unit >= 0:
                self.ends(unit)
            else:
                self.break_over()
        for unit in together:
            if unit >= 0:
                self.goes_on(unit, now)
        if self.woken:
            self.let_in(now)

    def ends(self, unit: int) -> None:
        """End the stretch a unit is in: what it frees is free, what it opens is open."""
        table, stretch = self.prepared.table, self.times.reached[unit]
        for pool in table.frees[stretch]:
            self.free[pool] += 1
            self.hot[self.prepared.hands[pool]].append(pool)
        gate = table.opens[stretch]
        if gate != NONE and not self.opened[gate]:
            self.opened[gate] = True
            self.woken += self.at_gate[gate]

    def goes_on(self, unit: int, now: float) -> None:
        """Have a unit ask for what its next stretch needs, if there is a next one and no gate before it."""
        prepared, times = self.prepared, self.times
        stretch = times.reached[unit] = times.reached[unit] + 1
        if stretch == prepared.stretch_first[unit + 1]:
            times.finish[unit] = now
            return
        gate = prepared.table.waits_for[stretch]
        if gate == NONE or self.opened[gate]:
            self.ask(unit, stretch, now)
        elif self.openers[gate]:
            self.at_gate[gate].append(unit)
        else:
            self.leave(unit, now)

    def let_in(self, now: float) -> None:
        """Have the units ask whose gate has opened."""
        for unit in self.woken:
            self.ask(unit, self.times.reached[unit], now)
        self.woken.clear()

    def ask(self, unit: int, stretch: int, now: float) -> None:
        """Ask for the first thing of a stretch, or start it if it takes nothing."""
        prepared = self.prepared
        self.times.asked[stretch] = now
        takes = prepared.table.takes[stretch]
        if takes:
            heappush(self.queues[takes[0]], (prepared.priorities[unit], now, unit))
            self.hot[prepared.hands[takes[0]]].append(takes[0])
        elif now + prepared.table.guards[stretch] > prepared.close:
            self.leave(unit, now)
        else:
            self.start(unit, stretch, now)

    def start(self, unit: int, stretch: int, now: float) -> None:
        """Start a stretch: its stages are added one by one."""
        table = self.prepared.table
        for stage in range(table.firsts[stretch], table.pasts[stretch]):
            now += self.durations[stage]
        heappush(self.events, (now, unit))

    def grant(self, hot: list[int], now: float) -> None:
        """Grant what can be granted of these pools, one by one in queue order over all of them."""
        prepared, free, queues, times = self.prepared, self.free, self.queues, self.times
        while hot:
            first: _Turn | None = None
            for pool in hot:
                if free[pool] > 0 and (queue := queues[pool]) and (first is None or queue[0] < first):
                    if prepared.breaks[pool] and self.resting(pool, now):
                        continue
                    first, chosen = queue[0], pool
            if first is None:
                hot.clear()
                return
            heappop(queues[chosen])
            unit = first[2]
            stretch = times.reached[unit]
            if now + prepared.table.guards[stretch] > prepared.close:
                self.leave(unit, now)
                continue
            free[chosen] -= 1
            self.takes_one(unit, stretch, now)

    def takes_one(self, unit: int, stretch: int, now: float) -> None:
        """Note what was granted; ask for the next thing or start."""
        prepared, taken = self.prepared, self.taken[unit]
        table = prepared.table
        self.times.granted[table.take_first[stretch] + taken] = now
        takes = table.takes[stretch]
        taken += 1
        if taken == len(takes):
            self.taken[unit] = 0
            self.start(unit, stretch, now)
        else:
            self.taken[unit] = taken
            heappush(self.queues[takes[taken]], (prepared.priorities[unit], now, unit))
            self.hot[prepared.hands[takes[taken]]].append(takes[taken])

    def resting(self, pool: int, now: float) -> bool:
        """Tell whether these hands have a break."""
        return any(start <= now < end for start, end in self.prepared.breaks[pool])

    def break_over(self) -> None:
        """Have all hands looked at that have breaks."""
        self.hot[1].extend(pool for pool, breaks in enumerate(self.prepared.breaks) if breaks)

    def leave(self, unit: int, now: float) -> None:
        """Send a unit away for today, with all who wait for a gate that nobody can open any more."""
        leaving = [unit]
        for gone in leaving:
            self.times.left[gone] = now
            held = held_by(self.prepared, gone, self.times.reached[gone], self.taken[gone])
            for pool, count in held.items():
                self.free[pool] += count
                self.hot[self.prepared.hands[pool]].append(pool)
            for gate in self.prepared.opened_by[gone]:
                self.openers[gate] -= 1
                if self.openers[gate] == 0 and not self.opened[gate]:
                    leaving += self.at_gate[gate]
                    self.at_gate[gate].clear()

    def must_be_over(self) -> None:
        """Raise DayCannotEnd if somebody waits."""
        waiting = [
            self.waits(unit)
            for unit, (finish, left) in enumerate(zip(self.times.finish, self.times.left, strict=True))
            if math.isnan(finish) and math.isnan(left)
        ]
        if waiting:
            raise cannot_end(waiting)

    def waits(self, unit: int) -> str:
        """Say what a unit waits for."""
        base, table = self.prepared.base, self.prepared.table
        stretch, taken = self.times.reached[unit], self.taken[unit]
        stage = base.units[unit].stages[table.firsts[stretch] - self.prepared.stage_first[unit]]
        held = [base.pools[pool].name for pool in held_by(self.prepared, unit, stretch, taken)]
        gate, takes = table.waits_for[stretch], table.takes[stretch]
        if gate != NONE and not self.opened[gate]:
            return waits_text(base.units[unit].id, stage.name, held, gate=self.prepared.gates[gate], pool=None)
        return waits_text(base.units[unit].id, stage.name, held, gate=None, pool=base.pools[takes[taken]].name)
