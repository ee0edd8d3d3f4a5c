"""One day in plain Python, as fast as plain Python goes: the same doubles as the loop that is written to be read.

What makes it fast: stretches instead of stages, numbers instead of objects, and after each instant a look only at those
pools that were asked for or freed in it, because no other can be granted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from heapq import heappop, heappush

from benchday.planning.engine import Day
from benchday.planning.forecast.days import DayTimes, advances, apart, day_of, flat, held_by, rejoined, untold
from benchday.planning.forecast.for_ever import must_be_over
from benchday.planning.forecast.prepared import AT_ONCE, NONE, OVER, Prepared
from benchday.planning.model import Durations, checked

_BREAK_OVER = -1
_NEVER = math.inf
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
        "arriving",
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
        self.events: list[tuple[float, int]] = [(_NEVER, 1)]
        """Ends of stretches under way: a heap of few, and one that never comes."""
        self.arriving = self.arrivals()
        """What is known from the beginning, the earliest last, and first one that never comes."""

    def to_the_end(self) -> DayTimes:  # noqa: PLR0912, PLR0915 - see below
        """Run; what most instants are is written out: one unit frees something and asks for something.

        Longer than functions are elsewhere, because a call for each of these parts would take a fifth more time.

        Raises:
            DayCannotEnd: somebody waits for ever.
        """
        prepared, table, times = self.prepared, self.prepared.table, self.times
        events, arriving = self.events, self.arriving
        free, queues, hot, places, raised, taken = (
            self.free,
            self.queues,
            self.hot_of,
            self.places,
            self.raised,
            self.taken,
        )
        asks, frees, freely, guarded, stages = self.next_asks, table.frees, table.freely, table.guarded, table.stages
        takes, take_first, last_take = table.takes, table.take_first, table.last_take
        reached, asked, granted, durations = times.reached, times.asked, times.granted, self.durations
        hands, priorities, breaks, grant = prepared.hands, prepared.priorities, prepared.breaks, self.granter()
        coming, soon, rest, turns = arriving[-1], arriving[-1][0], False, list(prepared.turns)
        turn = turns.pop()
        while True:
            if events[0] < coming:
                now, unit = heappop(events)
            else:
                now, unit = arriving.pop()
                if not arriving:
                    break
                coming, soon = arriving[-1], arriving[-1][0]
            while now >= turn:
                turn, rest = turns.pop(), not rest

            if unit < 0 or soon == now or events[0][0] == now:
                self.happen(unit, now)
                coming, soon = arriving[-1], arriving[-1][0]
            else:
                stretch = reached[unit]
                for pool in frees[stretch]:
                    free[pool] += 1
                    if queues[pool]:
                        hot[pool].append(pool)
                reached[unit] = stretch = stretch + 1
                pool = asks[stretch]
                if pool >= 0:
                    asked[stretch] = end = now
                    alone = freely[stretch] and free[pool] > 0 and not (queues[pool] or places or raised)
                    if alone and not (rest and breaks[pool] and self.resting(pool, now)):
                        free[pool] -= 1
                        granted[take_first[stretch]] = now
                        for stage in stages[stretch]:
                            end += durations[stage]
                        heappush(events, (end, unit))
                    else:
                        heappush(queues[pool], (priorities[unit], now, unit))
                        if free[pool] > 0:
                            hot[pool].append(pool)
                elif pool == AT_ONCE and not (guarded[stretch] and now + table.guards[stretch] > prepared.close):
                    asked[stretch] = end = now
                    for stage in stages[stretch]:
                        end += durations[stage]
                    heappush(events, (end, unit))
                elif pool == OVER:
                    times.finish[unit] = now
                else:
                    self.beyond(unit, stretch, now)

            while places or raised:
                looked_at = places or raised
                pool = looked_at[0]
                queue = queues[pool]
                if len(looked_at) > 1 or not queue or free[pool] <= 0 or (rest and breaks[pool]):
                    grant(looked_at, now)
                    continue
                unit = queue[0][2]
                stretch = reached[unit]
                if guarded[stretch] or (last_take[stretch] and hands[pool]):
                    grant(looked_at, now)
                    continue
                heappop(queue)
                free[pool] -= 1
                if not (queue and free[pool]):
                    looked_at.clear()
                number = taken[unit]
                granted[take_first[stretch] + number] = end = now
                if number < last_take[stretch]:
                    taken[unit] = number = number + 1
                    pool = takes[stretch][number]
                    heappush(queues[pool], (priorities[unit], now, unit))
                    if free[pool] > 0:
                        hot[pool].append(pool)
                else:
                    taken[unit] = 0
                    for stage in stages[stretch]:
                        end += durations[stage]
                    heappush(events, (end, unit))

        must_be_over(prepared, times, self.taken, self.opened)
        return times

    def arrivals(self) -> list[tuple[float, int]]:
        """Return each unit's first event, the end of its first stretch, and the ends of breaks; the earliest last."""
        prepared, asked, durations = self.prepared, self.times.asked, self.durations
        stages = prepared.table.stages
        known = [(end, _BREAK_OVER) for end in {end for breaks in prepared.breaks for _, end in breaks}]
        for unit, (arrival, stretch) in enumerate(zip(prepared.arrivals, prepared.stretch_first, strict=False)):
            asked[stretch] = end = arrival
            for stage in stages[stretch]:
                end += durations[stage]
            known.append((end, unit))
        known.append((_NEVER, 0))
        known.sort(reverse=True)
        return known

    def happen(self, unit: int, now: float) -> None:
        """Everything of one instant: first all ends, so that each gate that opens now is open, then what comes next."""
        together = [unit]
        while self.events[0][0] == now:
            together.append(heappop(self.events)[1])
        while self.arriving[-1][0] == now:
            together.append(self.arriving.pop()[1])
        together.sort()
        for each in together:
            if each >= 0:
                self.ends(each)
            else:
                self.break_over()
        for each in together:
            if each >= 0:
                self.goes_on(each, self.times.reached[each] + 1, now)
        self.wake(now)

    def ends(self, unit: int) -> None:
        """End the stretch a unit is in: what it frees is free, what it opens is open."""
        table, stretch = self.prepared.table, self.times.reached[unit]
        for pool in table.frees[stretch]:
            self.frees(pool, 1)
        self.opens(stretch)

    def beyond(self, unit: int, stretch: int, now: float) -> None:
        """Have a unit go on to a stretch that comes behind a gate or after one was opened; what it frees is free."""
        self.opens(stretch - 1)
        self.goes_on(unit, stretch, now)
        self.wake(now)

    def opens(self, stretch: int) -> None:
        """Open the gate that the end of a stretch opens, if there is one."""
        table = self.prepared.table
        gate = table.opens[stretch]
        if gate != NONE and not self.opened[gate]:
            self.opened[gate] = True
            self.woken += self.at_gate[gate]
            for behind in table.gated[gate]:
                self.next_asks[behind] = table.asks_after_gate[behind]

    def wake(self, now: float) -> None:
        """Have those ask whose gate has just opened."""
        for unit in self.woken:
            self.ask(unit, self.times.reached[unit], now)
        self.woken.clear()

    def goes_on(self, unit: int, stretch: int, now: float) -> None:
        """Have a unit ask for what its next stretch needs, if there is a next one and no gate before it."""
        prepared, times = self.prepared, self.times
        times.reached[unit] = stretch
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

    def granter(self) -> Callable[[list[int], float], None]:
        """Make the function that grants what can be granted of some pools, one by one in queue order over all."""
        prepared, free, queues, events, durations = self.prepared, self.free, self.queues, self.events, self.durations
        breaks, guards, close, table = prepared.breaks, prepared.table.guards, prepared.close, prepared.table
        singles, take_first, stages = table.singles, table.take_first, table.stages
        reached, granted, resting, wants_more = self.times.reached, self.times.granted, self.resting, self.more_wanted()

        def grant(hot: list[int], now: float) -> None:
            while True:
                turn: _Turn | None = None
                for pool in hot:
                    if free[pool] > 0 and (queue := queues[pool]) and (turn is None or queue[0] < turn):
                        if breaks[pool] and resting(pool, now):
                            continue
                        turn, chosen = queue[0], pool
                if turn is None:
                    hot.clear()
                    return
                unit = heappop(queues[chosen])[2]
                stretch = reached[unit]
                if now + guards[stretch] > close:
                    self.leave(unit, now)
                    continue
                free[chosen] -= 1
                if singles[stretch]:
                    granted[take_first[stretch]] = now
                elif wants_more(unit, stretch, now):
                    continue
                end = now
                for stage in stages[stretch]:
                    end += durations[stage]
                heappush(events, (end, unit))
                if len(hot) == 1 and not (free[chosen] and queues[chosen]):
                    hot.clear()
                    return

        return grant

    def more_wanted(self) -> Callable[[int, int, float], bool]:
        """Make the function that notes what was granted of several things and asks for the next; it tells of one."""
        taken, granted, takes, take_first = (
            self.taken,
            self.times.granted,
            self.prepared.table.takes,
            self.prepared.table.take_first,
        )
        priorities, queues, free, hot = self.prepared.priorities, self.queues, self.free, self.hot_of

        def wants_more(unit: int, stretch: int, now: float) -> bool:
            number = taken[unit]
            granted[take_first[stretch] + number] = now
            number += 1
            if number == len(takes[stretch]):
                taken[unit] = 0
                return False
            taken[unit] = number
            pool = takes[stretch][number]
            heappush(queues[pool], (priorities[unit], now, unit))
            if free[pool] > 0:
                hot[pool].append(pool)
            return True

        return wants_more

    def start(self, unit: int, stretch: int, now: float) -> None:
        """Start a stretch whose takes it has."""
        for stage in self.prepared.table.stages[stretch]:
            now += self.durations[stage]
        heappush(self.events, (now, unit))

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
