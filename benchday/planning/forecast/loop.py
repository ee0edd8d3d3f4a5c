"""One day in plain Python, as fast as plain Python goes: the same doubles as the loop that is written to be read.

What makes it fast: stretches instead of stages, numbers instead of objects, and after each instant a look only at those
pools that were asked for or freed in it, because no other can be granted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from heapq import heapify, heappop, heappush

from benchday.planning.engine import Day, cannot_end, waits_text
from benchday.planning.forecast.days import DayTimes, advances, apart, day_of, flat, held_by, rejoined, untold
from benchday.planning.forecast.prepared import AT_ONCE, NONE, Prepared
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
    if not durations or advances(prepared, min(durations), sum(durations)):
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
        "hot_of",
        "next_asks",
        "opened",
        "openers",
        "places",
        "prepared",
        "queues",
        "raised",
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
        self.places: list[int] = []
        """Places that are free and asked for, and may be granted now; those of one instant only."""
        self.raised: list[int] = []
        """Hands of the same kind."""
        self.hot_of = [self.raised if hands else self.places for hands in prepared.hands]
        self.at_gate: list[list[int]] = [[] for _ in prepared.gates]
        self.woken: list[int] = []
        """Units whose gate has just opened."""
        self.opened = [False] * len(prepared.gates)
        self.next_asks = list(prepared.table.asks)
        """Of each stretch, what it asks for first; filled in where its gate opens."""
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
        prepared, table, events, free, queues = self.prepared, self.prepared.table, self.events, self.free, self.queues
        frees, opens, asks, freely, hands = table.frees, table.opens, self.next_asks, table.freely, prepared.hands
        reached, asked, priorities = self.times.reached, self.times.asked, prepared.priorities
        grant, begin, start, hot = self.granter(), self.beginner(), self.start, self.hot_of
        places, raised, held_up = self.places, self.raised, self.held_up
        while events:
            now, unit = heappop(events)
            if unit < 0 or (events and events[0][0] == now) or opens[reached[unit]] >= 0:
                self.happen(unit, now)
            else:
                # What most instants are, written out: one unit frees something and asks for something.
                stretch = reached[unit]
                for pool in frees[stretch]:
                    free[pool] += 1
                    if queues[pool]:
                        hot[pool].append(pool)
                pool = asks[stretch + 1]
                if pool >= 0:
                    stretch += 1
                    reached[unit] = stretch
                    asked[stretch] = now
                    if free[pool] <= 0:
                        heappush(queues[pool], (priorities[unit], now, unit))
                    elif freely[stretch] and not (places or queues[pool]) and not (hands[pool] and held_up(pool, now)):
                        begin(unit, stretch, pool, now)
                    else:
                        heappush(queues[pool], (priorities[unit], now, unit))
                        hot[pool].append(pool)
                elif pool == AT_ONCE:
                    reached[unit] = stretch + 1
                    asked[stretch + 1] = now
                    start(unit, stretch + 1, now)
                else:
                    self.goes_on(unit, now)
            while places or raised:
                grant(places or raised, now)

        self.must_be_over()
        return self.times

    def arrive(self) -> None:
        """Put each unit's first event, the end of its first stretch."""
        for unit, arrival in enumerate(self.prepared.arrivals):
            self.start(unit, self.prepared.stretch_first[unit], arrival)
            self.times.asked[self.prepared.stretch_first[unit]] = arrival
        heapify(self.events)

    def happen(self, unit: int, now: float) -> None:
        """Everything of one instant: first all ends, so that each gate that opens now is open, then what comes next."""
        together = [unit]
        while self.events and self.events[0][0] == now:
            together.append(heappop(self.events)[1])
        for each in together:
            if each >= 0:
                self.ends(each)
            else:
                self.break_over()
        for each in together:
            if each >= 0:
                self.goes_on(each, now)
        for each in self.woken:
            self.ask(each, self.times.reached[each], now)
        self.woken.clear()

    def ends(self, unit: int) -> None:
        """End the stretch a unit is in: what it frees is free, what it opens is open."""
        table, stretch = self.prepared.table, self.times.reached[unit]
        for pool in table.frees[stretch]:
            self.frees(pool, 1)
        gate = table.opens[stretch]
        if gate != NONE and not self.opened[gate]:
            self.opened[gate] = True
            self.woken += self.at_gate[gate]
            for behind in table.gated[gate]:
                self.next_asks[behind] = table.asks_after_gate[behind]

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

    def ask(self, unit: int, stretch: int, now: float) -> None:
        """Ask for the first thing of a stretch, or start it if it takes nothing."""
        prepared = self.prepared
        self.times.asked[stretch] = now
        takes = prepared.table.takes[stretch]
        if takes:
            self.asks(unit, takes[0], now)
        elif now + prepared.table.guards[stretch] > prepared.close:
            self.leave(unit, now)
        else:
            self.start(unit, stretch, now)

    def asks(self, unit: int, pool: int, now: float) -> None:
        """Put a unit into the queue of a pool."""
        heappush(self.queues[pool], (self.prepared.priorities[unit], now, unit))
        if self.free[pool] > 0:
            self.hot_of[pool].append(pool)

    def frees(self, pool: int, count: int) -> None:
        """Have so many of a pool back."""
        self.free[pool] += count
        if self.queues[pool]:
            self.hot_of[pool].append(pool)

    def start(self, unit: int, stretch: int, now: float) -> None:
        """Start a stretch: its stages are added one by one."""
        table = self.prepared.table
        for stage in table.stages[stretch]:
            now += self.durations[stage]
        heappush(self.events, (now, unit))

    def beginner(self) -> Callable[[int, int, int, float], None]:
        """Make the function that grants the one thing a stretch takes where nobody else waits for anything."""
        free, events, durations, granted = self.free, self.events, self.durations, self.times.granted
        take_first, stages = self.prepared.table.take_first, self.prepared.table.stages

        def begin(unit: int, stretch: int, pool: int, now: float) -> None:
            free[pool] -= 1
            granted[take_first[stretch]] = now
            for stage in stages[stretch]:
                now += durations[stage]
            heappush(events, (now, unit))

        return begin

    def granter(self) -> Callable[[list[int], float], None]:
        """Make the function that grants what can be granted of some pools, one by one in queue order over all."""
        prepared, free, queues, events, durations = self.prepared, self.free, self.queues, self.events, self.durations
        breaks, guards, close, table = prepared.breaks, prepared.table.guards, prepared.close, prepared.table
        singles, take_first, stages = table.singles, table.take_first, table.stages
        reached, granted = self.times.reached, self.times.granted

        def grant(hot: list[int], now: float) -> None:
            while True:
                first: _Turn | None = None
                for pool in hot:
                    if free[pool] > 0 and (queue := queues[pool]) and (first is None or queue[0] < first):
                        if breaks[pool] and self.resting(pool, now):
                            continue
                        first, chosen = queue[0], pool
                if first is None:
                    hot.clear()
                    return
                heappop(queues[chosen])
                unit = first[2]
                stretch = reached[unit]
                if now + guards[stretch] > close:
                    self.leave(unit, now)
                    continue
                free[chosen] -= 1
                if not singles[stretch]:
                    self.takes_one(unit, stretch, now)
                    continue
                granted[take_first[stretch]] = end = now
                for stage in stages[stretch]:
                    end += durations[stage]
                heappush(events, (end, unit))
                if len(hot) == 1 and not (free[chosen] and queues[chosen]):
                    hot.clear()
                    return

        return grant

    def takes_one(self, unit: int, stretch: int, now: float) -> None:
        """Note what was granted of several things; ask for the next one or start."""
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
            self.asks(unit, takes[taken], now)

    def held_up(self, pool: int, now: float) -> bool:
        """Tell whether others are asked for before these hands, or they have a break."""
        return bool(self.raised) or (bool(self.prepared.breaks[pool]) and self.resting(pool, now))

    def resting(self, pool: int, now: float) -> bool:
        """Tell whether these hands have a break."""
        for start, end in self.prepared.breaks[pool]:  # noqa: SIM110 - any() takes three times as long, and this is hot
            if start <= now < end:
                return True
        return False

    def break_over(self) -> None:
        """Have all hands looked at that have breaks."""
        self.raised.extend(pool for pool, breaks in enumerate(self.prepared.breaks) if breaks)

    def leave(self, unit: int, now: float) -> None:
        """Send a unit away for today, with all who wait for a gate that nobody can open any more."""
        leaving = [unit]
        for gone in leaving:
            self.times.left[gone] = now
            held = held_by(self.prepared, gone, self.times.reached[gone], self.taken[gone])
            for pool, count in held.items():
                self.frees(pool, count)
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
