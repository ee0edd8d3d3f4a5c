"""Whether a day that was run came to its end, and who waits for ever if not."""

from __future__ import annotations

import math
from collections.abc import Sequence

from benchday.planning.engine import cannot_end, waits_text
from benchday.planning.forecast.days import DayTimes, held_by
from benchday.planning.forecast.prepared import NONE, Prepared


def must_be_over(prepared: Prepared, times: DayTimes, taken: Sequence[int], opened: Sequence[bool]) -> None:
    """Look whether all units went through or were sent away.

    Args:
        prepared: the day.
        times: what came of it.
        taken: of each unit, how many takes of its stretch it has.
        opened: of each gate.

    Raises:
        DayCannotEnd: somebody waits for ever; the text says who and for what.
    """
    # A sum with NaN in it is NaN: a look at all of them at once, since most days do end.
    if not math.isnan(sum(times.finish)):
        return
    waiting = [
        _waits(prepared, times, unit, taken[unit], opened)
        for unit, (finish, left) in enumerate(zip(times.finish, times.left, strict=True))
        if math.isnan(finish) and math.isnan(left)
    ]
    if waiting:
        raise cannot_end(waiting)


def _waits(prepared: Prepared, times: DayTimes, unit: int, taken: int, opened: Sequence[bool]) -> str:
    base, table, stretch = prepared.base, prepared.table, times.reached[unit]
    stage = base.units[unit].stages[table.firsts[stretch] - prepared.stage_first[unit]]
    held = [base.pools[pool].name for pool in held_by(prepared, unit, stretch, taken)]
    gate, takes = table.waits_for[stretch], table.takes[stretch]
    if gate != NONE and not opened[gate]:
        return waits_text(base.units[unit].id, stage.name, held, gate=prepared.gates[gate], pool=None)
    return waits_text(base.units[unit].id, stage.name, held, gate=None, pool=base.pools[takes[taken]].name)
