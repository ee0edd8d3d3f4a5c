"""write: the act is spent against what the unit says now, then the image is sent from memory, uninterrupted."""

from __future__ import annotations

import hashlib

from benchday.bench.holds import Met, line_stop
from benchday.bench.serving import Serving
from benchday.bench.silence import plain
from benchday.bench.spending import spend
from benchday.domain.errors import DeviceError, PermitRefused
from benchday.domain.happenings import Happening, Stage, of_error
from benchday.domain.kinds import ActEnded
from benchday.domain.permits import Permit, SpentAct, Verb
from benchday.domain.playbook import StepName
from benchday.domain.recovery import row_for
from benchday.domain.seams import ServedBy
from benchday.domain.telling.figures import duration


async def write(at: Serving) -> StepName:
    """Spend the act and write the image."""
    permit = at.permit
    if permit is None:
        raise Met(Happening.NO_PERMIT, "there is no permit for this write")
    driver = await at.line()
    act = await spend(at, permit, Verb.WRITE_IMAGE, hashlib.sha256(at.image_bytes).hexdigest())
    # From here the unit must not be left alone half way: a stop of the day waits for the end of this.
    with at.undisturbed():
        async with at.tools.pc.inhibit_sleep(f"unit {at.unit} is being written"):
            await _send(at, driver, act, permit)
    at.act = act
    return StepName.RESTART


async def _send(at: Serving, driver: ServedBy, act: SpentAct, permit: Permit) -> None:
    before = at.tools.pauses.total_us()
    try:
        await at.follow(StepName.WRITE, driver.write(act, at.image_bytes))
    except (DeviceError, PermitRefused) as error:
        happening = of_error(error)
        if happening is Happening.REFUSED and at.story.broken:
            happening = Happening.BOOT_REFUSES
        await _ended(at, act, permit, happening)
        raise Met(happening, f"{plain(error)}{_meanwhile(at, before)}", stage=Stage.WRITE, line_told=True) from error
    await _ended(at, act, permit, None)


def _meanwhile(at: Serving, before_us: int) -> str:
    """Say in a reason that it was not the unit that was away."""
    away_us = at.away_since(before_us)
    return f"; the bench PC was away for {duration(away_us)} meanwhile" if away_us else ""


_ENDS = {
    None: "whole",
    Happening.REFUSED: "refused",
    Happening.BOOT_REFUSES: "refused",
    Happening.PERMIT: "refused",
    Happening.UNKNOWN: "unknown",
}
"""How an act ended, by what befell it; any other: cut."""


async def _ended(at: Serving, act: SpentAct, permit: Permit, met: Happening | None) -> None:
    """Record how the act ended, and with it that the line stops if it does."""
    outcome = _ENDS.get(met, "cut")
    drafts = [
        at.draft(
            ActEnded(permit=permit.id, act=act.number, outcome=outcome, bytes=act.act.bytes, sha256=act.act.digest)
        )
    ]
    if met is not None and row_for(Stage.WRITE, met).stops_line:
        drafts.append(at.draft(line_stop(at.story, act.act.release, Stage.WRITE, "")))
    await at.record(*drafts)
