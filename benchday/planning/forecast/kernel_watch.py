"""How busy pools are and how long they are waited for, summed by numba as ``PoolTally`` does."""

from __future__ import annotations

import math
from typing import NamedTuple

from benchday.planning.forecast.compiling import Floats, Ints, inner
from benchday.planning.forecast.kernel_places import (
    ALL_UNITS,
    ASKED,
    DURATION,
    FIRST,
    FREED,
    FREED_FIRST,
    FREED_PAST,
    GRANTED,
    LEFT,
    PAST,
    REACHED,
    STRETCH,
    STRETCH_COLUMNS,
    STRETCH_FIRST,
    STRETCH_Y,
    STRETCH_Y_COLUMNS,
    TAKE,
    TAKE_FIRST,
    TAKE_PAST,
    UNIT,
    UNIT_COLUMNS,
    UNIT_Y,
    UNIT_Y_COLUMNS,
)


class Watched(NamedTuple):
    """Sums over the days whose pools are watched."""

    parts: Floats
    more: Ints
    grants: Ints
    waiting: Floats
    width: float


@inner
def _changes(pools: Watched, pool: int, time: float, by: int) -> None:
    slots = pools.parts.shape[1] - 1
    slot = min(int(time / pools.width), slots - 1) if time > 0 else 0
    pools.parts[pool, slot] += by * ((slot + 1) * pools.width - time)
    pools.more[pool, slot + 1] += by


@inner
def _takes(x: Ints, y: Floats, pools: Watched, stretch: int) -> None:
    of = x[STRETCH] + STRETCH_COLUMNS * stretch
    since = y[x[STRETCH_Y] + STRETCH_Y_COLUMNS * stretch + ASKED]
    for take in range(x[of + TAKE_FIRST], x[of + TAKE_PAST]):
        granted, pool = y[x[GRANTED] + take], x[x[TAKE] + take]
        if math.isnan(granted):
            return
        pools.grants[pool] += 1
        pools.waiting[pool] += granted - since
        since = granted
        _changes(pools, pool, granted, 1)


@inner
def _whole(x: Ints, y: Floats, pools: Watched, stretch: int) -> None:
    """Watch a stretch from its first ask to its end."""
    _takes(x, y, pools, stretch)
    of = x[STRETCH] + STRETCH_COLUMNS * stretch
    end = y[x[STRETCH_Y] + STRETCH_Y_COLUMNS * stretch + ASKED]
    if x[of + TAKE_PAST] > x[of + TAKE_FIRST]:
        end = y[x[GRANTED] + x[of + TAKE_PAST] - 1]
    for stage in range(x[of + FIRST], x[of + PAST]):
        end += y[x[DURATION] + stage]
    for freed in range(x[of + FREED_FIRST], x[of + FREED_PAST]):
        _changes(pools, x[x[FREED] + freed], end, -1)


@inner
def _left(x: Ints, y: Floats, pools: Watched, unit: int) -> None:
    """What a unit held that was sent away is free from then on."""
    of, time = x[UNIT] + UNIT_COLUMNS * unit, y[x[UNIT_Y] + UNIT_Y_COLUMNS * unit + LEFT]
    _takes(x, y, pools, x[of + REACHED])
    for stretch in range(x[of + STRETCH_FIRST], x[of + REACHED] + 1):
        row = x[STRETCH] + STRETCH_COLUMNS * stretch
        for take in range(x[row + TAKE_FIRST], x[row + TAKE_PAST]):
            if not math.isnan(y[x[GRANTED] + take]):
                _changes(pools, x[x[TAKE] + take], time, -1)
        if stretch < x[of + REACHED]:
            for freed in range(x[row + FREED_FIRST], x[row + FREED_PAST]):
                _changes(pools, x[x[FREED] + freed], time, 1)


@inner
def watch(x: Ints, y: Floats, pools: Watched) -> None:
    """Add one day."""
    for unit in range(x[ALL_UNITS]):
        of = x[UNIT] + UNIT_COLUMNS * unit
        for stretch in range(x[of + STRETCH_FIRST], x[of + REACHED]):
            _whole(x, y, pools, stretch)
        if not math.isnan(y[x[UNIT_Y] + UNIT_Y_COLUMNS * unit + LEFT]):
            _left(x, y, pools, unit)
