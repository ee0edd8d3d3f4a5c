"""Putting back the settings that were saved before a write: under a permit of its own, whose one act names them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

import rfc8785

from benchday.bench.holds import Met
from benchday.bench.permit_desk import Confirmation
from benchday.bench.serving import Serving
from benchday.bench.spending import spend
from benchday.domain.errors import DeviceError, PermitRefused
from benchday.domain.happenings import Stage, of_error
from benchday.domain.kinds import ActEnded
from benchday.domain.permits import Act, Permit, SpentAct, Verb
from benchday.domain.readings import Settings
from benchday.domain.seams import CanPutSettings
from benchday.domain.telling.figures import clock


async def put_back(at: Serving, lost: Mapping[str, str]) -> bool:
    """Have it confirmed which settings are put back, and put them; tell whether they were put.

    Args:
        at: the unit.
        lost: name of each setting that changed -> its value before the write.

    Raises:
        Met: it was cut short; some of them may be in.
        PermitRefused: what was confirmed no longer holds; nothing was put.
    """
    at.restoring = False
    wanted = Settings(dict(lost))
    permit = await at.tools.desk.confirm(_confirmation(at, wanted))
    if permit is None:
        return False
    act = await spend(at, permit, Verb.PUT_SETTINGS, wanted.digest)
    with at.undisturbed():
        await _put(at, permit, act, wanted)
    return True


async def _put(at: Serving, permit: Permit, act: SpentAct, wanted: Settings) -> None:
    try:
        await cast("CanPutSettings", await at.line()).put_settings(act, wanted)
    except (DeviceError, PermitRefused) as error:
        await _ended(at, permit, act, "cut")
        raise Met(of_error(error), str(error), stage=Stage.PUT_BACK) from error
    await _ended(at, permit, act, "whole")


async def _ended(at: Serving, permit: Permit, act: SpentAct, outcome: str) -> None:
    facts = ActEnded(permit=permit.id, act=act.number, outcome=outcome, bytes=act.act.bytes, sha256=act.act.digest)
    await at.record(at.draft(facts))


def _confirmation(at: Serving, wanted: Settings) -> Confirmation:
    story = at.story
    saved_us = story.settings_saved_us
    saved = f" at {clock(saved_us, at.tools.plan.zone)}" if saved_us is not None else ""
    size = len(rfc8785.dumps(dict(wanted.values)))
    return Confirmation(
        unit=at.unit,
        station=at.station,
        model=story.model,
        hardware=(story.identity or {}).get("hardware", ""),
        acts=(Act(Verb.PUT_SETTINGS, wanted.digest, size),),
        losses=(),
        playbook_digest=at.tools.plan.playbook_digest(at.playbook),
        lines=(
            f"Puts back what was saved before the write{saved}, and nothing else:",
            *(f"  {name} = {value}" for name, value in wanted.values.items()),
        ),
        cautions=(),
    )
