"""Blocks of days run by the compiled loop."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from benchday.planning.forecast import loop
from benchday.planning.forecast.compiled import day_arrays, kernel, numpy
from benchday.planning.forecast.days import advances
from benchday.planning.forecast.gathered import Gathered
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.pools import SLOTS, WATCHED, PoolTally
from benchday.planning.forecast.prepared import Prepared

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from benchday.planning.forecast.kernel_watch import Watched


def run(prepared: Prepared, blocks: Iterable[NDArray[np.float64]], watched: int = WATCHED) -> Outcomes:
    """Run a day for each row of each block; the pools of the first ``watched`` are looked at.

    Raises:
        DayCannotEnd: units wait for ever; the text says which and for what.
    """
    gathered, day = Gathered(prepared, watched), day_arrays(prepared)
    pools: Watched | None = None
    seen = 0
    for drawn in blocks:
        if not _advance(prepared, drawn):
            for row in drawn.tolist():
                gathered.add(row, loop.day_times(prepared, row))
            continue
        if pools is None:
            pools = _pools(_tally(gathered, drawn))
        finishes, makespans = numpy().empty((len(drawn), prepared.units)), numpy().empty(len(drawn))
        looked_at = max(watched - len(gathered.makespans), 0)
        block = kernel().Block(drawn, finishes, makespans, looked_at)
        stuck = kernel().run_block(day.x, day.y, day.fresh, block, pools)
        if stuck >= 0:
            # The plain loop says who waits for what.
            loop.day_times(prepared, drawn[stuck].tolist())
        gathered.finishes.frombytes(finishes.tobytes())
        gathered.makespans.frombytes(makespans.tobytes())
        seen += min(looked_at, len(drawn))
    if pools is not None and gathered.tally is not None:
        _add(gathered.tally, pools, seen)
    return gathered.outcomes("compiled")


def _advance(prepared: Prepared, drawn: NDArray[np.float64]) -> bool:
    return not drawn.size or advances(prepared, float(drawn.min()), float(drawn.sum(axis=1).max()))


def _tally(gathered: Gathered, drawn: NDArray[np.float64]) -> PoolTally:
    if gathered.tally is not None:
        return gathered.tally
    first = drawn[0].tolist()
    return gathered.begin(first, loop.day_times(gathered.prepared, first))


def _pools(tally: PoolTally) -> Watched:
    pools: Watched = kernel().Watched(
        parts=numpy().zeros((len(tally.parts), SLOTS + 1)),
        more=numpy().zeros((len(tally.parts), SLOTS + 1), dtype="int64"),
        grants=numpy().zeros(len(tally.parts), dtype="int64"),
        waiting=numpy().zeros(len(tally.parts)),
        width=tally.width,
    )
    return pools


def _add(tally: PoolTally, pools: Watched, seen: int) -> None:
    """Hand what was seen of the pools to the tally."""
    tally.days += seen
    for pool in range(len(tally.parts)):
        tally.parts[pool] = [a + b for a, b in zip(tally.parts[pool], pools.parts[pool].tolist(), strict=True)]
        tally.more[pool] = [a + b for a, b in zip(tally.more[pool], pools.more[pool].tolist(), strict=True)]
        tally.grants[pool] += int(pools.grants[pool])
        tally.waiting[pool] += float(pools.waiting[pool])
