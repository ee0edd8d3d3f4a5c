"""The day's loop compiled by numba: imported only where a forecast runs and numba is installed.

The same rules as in plain Python, and the same order of every addition, so the same doubles. Arrivals are sorted once
and kept out of the active set, which holds those units that are in a stretch: at most as many as there are stations and
chargers, so it is kept sorted by hand. A pool's queue is an array with room for all who will ask; those who ask later
mostly stand behind, so joining it is an append.

All whole numbers are one array ``x`` and all doubles another, ``y``, because many arrays handed from function to
function cost more than what is done with them. The names in capitals, of ``kernel_places``, say where things stand.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from benchday.planning.forecast.compiling import Floats, Ints, compiled, inlined, inner
from benchday.planning.forecast.kernel_places import (
    ACTIVE,
    ACTIVE_SIZE,
    ALL_BREAK_ENDS,
    ALL_POOLS,
    ALL_STAGES,
    ALL_UNITS,
    ARRIVAL,
    ARRIVE,
    ARRIVE_AT,
    ASKED,
    AT_GATE,
    BREAK_ENDS,
    BREAK_FIRST,
    BREAK_PAST,
    BREAK_Y,
    CLOSE,
    DURATION,
    ENDING_SIZE,
    FINISH,
    FIRST,
    FREE,
    FREED,
    FREED_FIRST,
    FREED_PAST,
    GATE,
    GATE_COLUMNS,
    GATE_OPENED,
    GRANTED,
    GUARD,
    HEAD,
    IS_HANDS,
    LEFT,
    NOW,
    OPEN,
    OPENER,
    OPENER_FIRST,
    OPENER_PAST,
    OPENS,
    PAST,
    PLACES_READY,
    POOL,
    POOL_COLUMNS,
    PRIORITY,
    QUEUE,
    REACHED,
    SINCE,
    STRETCH,
    STRETCH_COLUMNS,
    STRETCH_FIRST,
    STRETCH_PAST,
    STRETCH_Y,
    STRETCH_Y_COLUMNS,
    TAIL,
    TAKE,
    TAKE_FIRST,
    TAKE_PAST,
    TAKEN,
    TIMES,
    TOGETHER,
    UNIT,
    UNIT_COLUMNS,
    UNIT_Y,
    UNIT_Y_COLUMNS,
    UNOPENED,
    WAITS_FOR,
)
from benchday.planning.forecast.kernel_watch import Watched, watch

GAPS = (1750, 701, 301, 132, 57, 23, 10, 4, 1)
"""Of a Shell sort (Ciura 2001)."""


class Fresh(NamedTuple):
    """What the two arrays begin with before each day."""

    x: Ints
    y: Floats


@inlined
def _free(x: Ints, pool: int, count: int) -> None:
    """Have so many of a pool back, or fewer."""
    of = x[POOL] + POOL_COLUMNS * pool
    before = x[of + FREE]
    x[of + FREE] = before + count
    if x[of + TAIL] > x[of + HEAD]:
        x[PLACES_READY + x[of + IS_HANDS]] += (before + count > 0) - (before > 0)


@inlined
def _before(x: Ints, y: Floats, one: int, other: int) -> bool:
    """Rule 2: priority, time of asking, position."""
    a, b = x[UNIT_Y] + UNIT_Y_COLUMNS * one, x[UNIT_Y] + UNIT_Y_COLUMNS * other
    if y[a + PRIORITY] != y[b + PRIORITY]:
        return bool(y[a + PRIORITY] < y[b + PRIORITY])
    if y[a + SINCE] != y[b + SINCE]:
        return bool(y[a + SINCE] < y[b + SINCE])
    return one < other


@inlined
def _join(x: Ints, y: Floats, unit: int, pool: int) -> None:
    """Put a unit into a pool's queue."""
    y[x[UNIT_Y] + UNIT_Y_COLUMNS * unit + SINCE] = y[NOW]
    of, queue = x[POOL] + POOL_COLUMNS * pool, x[QUEUE]
    head, place = queue + x[of + HEAD], queue + x[of + TAIL]
    x[of + TAIL] += 1
    if place == head and x[of + FREE] > 0:
        x[PLACES_READY + x[of + IS_HANDS]] += 1
    while place > head and _before(x, y, unit, x[place - 1]):
        x[place] = x[place - 1]
        place -= 1
    x[place] = unit


@inlined
def _start(x: Ints, y: Floats, unit: int, stretch: int) -> None:
    """Start a stretch; its stages are added one by one."""
    time, durations = y[NOW], x[DURATION]
    of = x[STRETCH] + STRETCH_COLUMNS * stretch
    for stage in range(x[of + FIRST], x[of + PAST]):
        time += y[durations + stage]
    place, units, times = x[ACTIVE_SIZE], x[ACTIVE], x[TIMES]
    x[ACTIVE_SIZE] += 1
    while place > 0 and y[times + place - 1] < time:
        y[times + place] = y[times + place - 1]
        x[units + place] = x[units + place - 1]
        place -= 1
    y[times + place] = time
    x[units + place] = unit


@inner
def _leave_one(x: Ints, y: Floats, unit: int) -> bool:
    """Send one unit away: it gives back all it holds; tell whether nobody is left to open some gate."""
    y[x[UNIT_Y] + UNIT_Y_COLUMNS * unit + LEFT] = y[NOW]
    of, dead = x[UNIT] + UNIT_COLUMNS * unit, False
    x[of + AT_GATE] = -1
    for stretch in range(x[of + STRETCH_FIRST], x[of + REACHED] + 1):
        row, done = x[STRETCH] + STRETCH_COLUMNS * stretch, stretch < x[of + REACHED]
        past = x[row + TAKE_PAST] if done else x[row + TAKE_FIRST] + x[of + TAKEN]
        for take in range(x[row + TAKE_FIRST], past):
            _free(x, x[x[TAKE] + take], 1)
        if done:
            for freed in range(x[row + FREED_FIRST], x[row + FREED_PAST]):
                _free(x, x[x[FREED] + freed], -1)
    for opener in range(x[of + OPENER_FIRST], x[of + OPENER_PAST]):
        gate = x[GATE] + GATE_COLUMNS * x[x[OPENER] + opener]
        x[gate + UNOPENED] -= 1
        dead = dead or (x[gate + UNOPENED] == 0 and x[gate + OPEN] == 0)
    return dead


@inner
def _leave(x: Ints, y: Floats, unit: int) -> None:
    """Send a unit away for today, and all who wait for a gate that nobody can open any more."""
    again = _leave_one(x, y, unit)
    while again:
        again = False
        for other in range(x[ALL_UNITS]):
            at_gate = x[x[UNIT] + UNIT_COLUMNS * other + AT_GATE]
            gate = x[GATE] + GATE_COLUMNS * at_gate
            if at_gate >= 0 and x[gate + OPEN] == 0 and x[gate + UNOPENED] == 0:
                again = _leave_one(x, y, other) or again


@inlined
def _ask(x: Ints, y: Floats, unit: int, stretch: int) -> None:
    of, of_y = x[STRETCH] + STRETCH_COLUMNS * stretch, x[STRETCH_Y] + STRETCH_Y_COLUMNS * stretch
    y[of_y + ASKED] = y[NOW]
    if x[of + TAKE_PAST] > x[of + TAKE_FIRST]:
        _join(x, y, unit, x[x[TAKE] + x[of + TAKE_FIRST]])
    elif y[NOW] + y[of_y + GUARD] > y[CLOSE]:
        _leave(x, y, unit)
    else:
        _start(x, y, unit, stretch)


@inlined
def _goes_on(x: Ints, y: Floats, unit: int) -> None:
    of = x[UNIT] + UNIT_COLUMNS * unit
    stretch = x[of + REACHED] + 1
    x[of + REACHED] = stretch
    if stretch == x[of + STRETCH_PAST]:
        y[x[UNIT_Y] + UNIT_Y_COLUMNS * unit + FINISH] = y[NOW]
        return
    at_gate = x[x[STRETCH] + STRETCH_COLUMNS * stretch + WAITS_FOR]
    gate = x[GATE] + GATE_COLUMNS * at_gate
    if at_gate < 0 or x[gate + OPEN] == 1:
        _ask(x, y, unit, stretch)
    elif x[gate + UNOPENED] > 0:
        x[of + AT_GATE] = at_gate
    else:
        _leave(x, y, unit)


@inlined
def _ends(x: Ints, unit: int) -> None:
    of = x[STRETCH] + STRETCH_COLUMNS * x[x[UNIT] + UNIT_COLUMNS * unit + REACHED]
    for freed in range(x[of + FREED_FIRST], x[of + FREED_PAST]):
        _free(x, x[x[FREED] + freed], 1)
    if x[of + OPENS] >= 0:
        x[x[GATE] + GATE_COLUMNS * x[of + OPENS] + OPEN] = 1
        x[GATE_OPENED] = 1


@inlined
def _resting(x: Ints, y: Floats, pool: int) -> bool:
    of = x[POOL] + POOL_COLUMNS * pool
    for pause in range(x[of + BREAK_FIRST], x[of + BREAK_PAST]):
        if y[x[BREAK_Y] + 2 * pause] <= y[NOW] < y[x[BREAK_Y] + 2 * pause + 1]:
            return True
    return False


@inlined
def _first_pool(x: Ints, y: Floats, phase: int) -> int:
    """Return the pool of a phase whose first unit comes first of all that can be granted, -1 if none can."""
    chosen, first = -1, -1
    for pool in range(x[ALL_POOLS]):
        of = x[POOL] + POOL_COLUMNS * pool
        if x[of + IS_HANDS] == phase and x[of + FREE] > 0 and x[of + TAIL] > x[of + HEAD]:
            unit = x[x[QUEUE] + x[of + HEAD]]
            if (chosen < 0 or _before(x, y, unit, first)) and not _resting(x, y, pool):
                chosen, first = pool, unit
            if x[PLACES_READY + phase] == 1:
                break
    return chosen


@inlined
def _grant_one(x: Ints, y: Floats, phase: int) -> bool:
    """Grant to the first in queue order over all pools of a phase; tell whether there was one."""
    pool = _first_pool(x, y, phase)
    if pool < 0:
        return False
    of = x[POOL] + POOL_COLUMNS * pool
    unit = x[x[QUEUE] + x[of + HEAD]]
    x[of + HEAD] += 1
    if x[of + HEAD] == x[of + TAIL]:
        x[PLACES_READY + phase] -= 1
    stretch = x[x[UNIT] + UNIT_COLUMNS * unit + REACHED]
    if y[NOW] + y[x[STRETCH_Y] + STRETCH_Y_COLUMNS * stretch + GUARD] > y[CLOSE]:
        _leave(x, y, unit)
        return True
    _free(x, pool, -1)
    taken = x[UNIT] + UNIT_COLUMNS * unit + TAKEN
    take = x[x[STRETCH] + STRETCH_COLUMNS * stretch + TAKE_FIRST] + x[taken]
    y[x[GRANTED] + take] = y[NOW]
    if take + 1 == x[x[STRETCH] + STRETCH_COLUMNS * stretch + TAKE_PAST]:
        x[taken] = 0
        _start(x, y, unit, stretch)
    else:
        x[taken] += 1
        _join(x, y, unit, x[x[TAKE] + take + 1])
    return True


@inlined
def _arrive(x: Ints, y: Floats) -> None:
    """Make the arrivals, which end units' first stretches, and sort them: the last day's order is nearly right."""
    count, arrive, at = x[ALL_UNITS], x[ARRIVE], x[UNIT_Y] + ARRIVE_AT
    for unit in range(count):
        of = x[STRETCH] + STRETCH_COLUMNS * x[x[UNIT] + UNIT_COLUMNS * unit + STRETCH_FIRST]
        time = y[x[UNIT_Y] + UNIT_Y_COLUMNS * unit + ARRIVAL]
        for stage in range(x[of + FIRST], x[of + PAST]):
            time += y[x[DURATION] + stage]
        y[at + UNIT_Y_COLUMNS * unit] = time
    for gap in GAPS:
        for late in range(arrive + gap, arrive + count):
            unit, place = x[late], late
            while place >= arrive + gap and y[at + UNIT_Y_COLUMNS * x[place - gap]] > y[at + UNIT_Y_COLUMNS * unit]:
                x[place] = x[place - gap]
                place -= gap
            x[place] = unit


@inlined
def _happen(x: Ints, y: Floats) -> None:
    """Phase (a): all ends of an instant, then what comes next, then those whose gate has opened."""
    together, ending = x[TOGETHER], x[ENDING_SIZE]
    for place in range(together, together + ending):
        _ends(x, x[place])
    for place in range(together, together + ending):
        _goes_on(x, y, x[place])
    if x[GATE_OPENED] == 1:
        x[GATE_OPENED] = 0
        for unit in range(x[ALL_UNITS]):
            of = x[UNIT] + UNIT_COLUMNS * unit
            if x[of + AT_GATE] >= 0 and x[x[GATE] + GATE_COLUMNS * x[of + AT_GATE] + OPEN] == 1:
                x[of + AT_GATE] = -1
                _ask(x, y, unit, x[of + REACHED])


@inlined
def run(x: Ints, y: Floats) -> float:
    """Run one day; return its makespan, NaN if somebody waits for ever."""
    _arrive(x, y)
    arrive, arrive_past, at = x[ARRIVE], x[ARRIVE] + x[ALL_UNITS], x[UNIT_Y] + ARRIVE_AT
    rest, rest_past, times, together = x[BREAK_ENDS], x[BREAK_ENDS] + x[ALL_BREAK_ENDS], x[TIMES], x[TOGETHER]
    while True:
        size, ending = x[ACTIVE_SIZE], 0
        time = y[times + size - 1] if size > 0 else math.inf
        if arrive < arrive_past:
            time = min(time, y[at + UNIT_Y_COLUMNS * x[arrive]])
        if rest < rest_past:
            time = min(time, y[rest])
        if time == math.inf:
            return _makespan(x, y)
        y[NOW] = time
        while size > 0 and y[times + size - 1] == time:
            size -= 1
            x[together + ending] = x[x[ACTIVE] + size]
            ending += 1
        while arrive < arrive_past and y[at + UNIT_Y_COLUMNS * x[arrive]] == time:
            x[together + ending] = x[arrive]
            ending += 1
            arrive += 1
        while rest < rest_past and y[rest] == time:
            rest += 1
        x[ACTIVE_SIZE], x[ENDING_SIZE] = size, ending
        _happen(x, y)
        granted = True
        while granted:
            granted = False
            for phase in range(2):
                while x[PLACES_READY + phase] > 0 and _grant_one(x, y, phase):
                    granted = True


@inlined
def _makespan(x: Ints, y: Floats) -> float:
    makespan = 0.0
    for unit in range(x[ALL_UNITS]):
        of = x[UNIT_Y] + UNIT_Y_COLUMNS * unit
        if not math.isnan(y[of + FINISH]):
            makespan = max(makespan, y[of + FINISH])
        elif math.isnan(y[of + LEFT]):
            return math.nan
    return makespan


class Block(NamedTuple):
    """Days to be run, one a row, and what comes of them."""

    drawn: Floats
    finishes: Floats
    makespans: Floats
    watched: int
    """How many of the first rows have their pools watched."""


@compiled
def run_block(x: Ints, y: Floats, fresh: Fresh, block: Block, pools: Watched) -> int:
    """Run a day for each row of durations; return the row in which somebody waits for ever, -1 if there is none."""
    for row in range(len(block.drawn)):
        for place in range(len(fresh.x)):
            x[place] = fresh.x[place]
        for place in range(len(fresh.y)):
            y[place] = fresh.y[place]
        for stage in range(x[ALL_STAGES]):
            y[x[DURATION] + stage] = block.drawn[row, stage]
        makespan = run(x, y)
        if math.isnan(makespan):
            return row
        block.makespans[row] = makespan
        for unit in range(x[ALL_UNITS]):
            block.finishes[row, unit] = y[x[UNIT_Y] + UNIT_Y_COLUMNS * unit + FINISH]
        if row < block.watched:
            watch(x, y, pools)
    return -1
