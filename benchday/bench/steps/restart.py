"""restart: the unit starts its new release; part of the write, under the same act."""

from __future__ import annotations

from benchday.bench.holds import Met
from benchday.bench.serving import Serving
from benchday.domain.errors import DeviceError
from benchday.domain.happenings import Happening
from benchday.domain.playbook import StepName
from benchday.domain.readings import Mode


async def restart(at: Serving) -> StepName:
    """Restart the unit; its cautions were acknowledged with the confirmation, so that nothing waits between the two."""
    if at.act is None:
        raise Met(Happening.NO_PERMIT, "there is no act under which to restart")
    before = at.tools.pauses.total_us()
    try:
        with at.undisturbed():
            await (await at.line()).restart(at.act)
    except DeviceError:
        if at.away_since(before) and await _runs(at):
            return StepName.VERIFY
        raise
    finally:
        at.act = None
    return StepName.VERIFY


async def _runs(at: Serving) -> bool:
    """Look again: it was the bench PC that was away, and the unit may have come back meanwhile."""
    await at.let_go()
    try:
        return (await (await at.line()).identify()).mode is Mode.RUN
    except DeviceError:
        return False
