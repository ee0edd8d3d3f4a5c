"""Where things stand in the two arrays of the compiled loop: whole numbers in x, doubles in y.

First what stands at a fixed place. A table of several columns begins where x says, at a fixed place of its own; its
columns stand side by side, row after row.
"""

from __future__ import annotations

ALL_UNITS, ALL_POOLS, ALL_STAGES, ALL_BREAK_ENDS = range(4)
"""How many there are."""
PLACES_READY, HANDS_READY, ACTIVE_SIZE, ENDING_SIZE, GATE_OPENED = range(4, 9)
"""How many pools of places and of hands are free and asked for; how many units are active, how many end or arrive now;
1 if a gate has opened now."""
POOL, UNIT, GATE, STRETCH, TAKE, FREED, OPENER, QUEUE, ACTIVE, TOGETHER, ARRIVE = range(9, 20)
"""Tables in x. ACTIVE is the active set; ARRIVE are the units in the order of arrival, kept from day to day."""
UNIT_Y, GRANTED, STRETCH_Y, TIMES, BREAK_Y, BREAK_ENDS, DURATION = range(20, 27)
"""Tables in y. TIMES are the ends of the active set, falling."""
FIXED = 27
NOW, CLOSE, FIXED_Y = range(3)

FREE, HEAD, TAIL, IS_HANDS, BREAK_FIRST, BREAK_PAST, POOL_COLUMNS = range(7)
"""HEAD and TAIL: where a pool's queue begins and ends, counted from QUEUE."""
REACHED, TAKEN, AT_GATE, STRETCH_FIRST, STRETCH_PAST, OPENER_FIRST, OPENER_PAST, UNIT_COLUMNS = range(8)
FIRST, PAST, TAKE_FIRST, TAKE_PAST, FREED_FIRST, FREED_PAST, OPENS, WAITS_FOR, STRETCH_COLUMNS = range(9)
OPEN, UNOPENED, GATE_COLUMNS = range(3)
"""OPEN: 1 if it is. UNOPENED: how many units are left that may open it."""
PRIORITY, ARRIVAL, SINCE, ARRIVE_AT, FINISH, LEFT, UNIT_Y_COLUMNS = range(7)
"""SINCE: when it asked for what it waits for."""
GUARD, ASKED, STRETCH_Y_COLUMNS = range(3)
