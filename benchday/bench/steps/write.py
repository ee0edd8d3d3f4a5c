"""write: the act is spent against what the unit says now, then the image is sent from memory, uninterrupted."""

from __future__ import annotations

import hashlib
import secrets

from benchday.bench.holds import Hold, interrupted
from benchday.bench.serving import Serving
from benchday.domain.errors import DeviceError, OutcomeUnknown, PermitRefused, Refused, TransferCut
from benchday.domain.items import Wanted
from benchday.domain.kinds import ActEnded, LineStopped
from benchday.domain.permits import ConfirmedBy, Permit, Reading, SpentAct, Verb
from benchday.domain.playbook import StepName
from benchday.domain.readings import Proof
from benchday.domain.seams import CanProve, Question, ServedBy
from benchday.domain.telling.figures import duration


async def write(at: Serving) -> StepName:
    """Spend the act and write the image."""
    permit = at.permit
    if permit is None:
        raise Hold("no-permit", "there is no permit for this write", "an operator confirms anew")
    driver = await at.line()
    act = await _spend(at, permit)
    if act is None:
        return StepName.CHECK
    # From here the unit must not be left alone half way: a stop of the day waits for the end of this.
    with at.undisturbed():
        async with at.tools.pc.inhibit_sleep(f"unit {at.unit} is being written"):
            await _send(at, driver, act, permit)
    at.act = act
    return StepName.RESTART


async def _spend(at: Serving, permit: Permit) -> SpentAct | None:
    """Spend the act; None if what was confirmed no longer holds and has to be looked at anew."""
    found = await (await at.line()).identify()
    reading = Reading(
        serial=found.serial,
        model=found.model,
        hardware=found.hardware,
        verb=Verb.WRITE_IMAGE,
        digest=hashlib.sha256(at.image_bytes).hexdigest(),
        playbook_digest=at.tools.plan.playbook_digest(at.playbook),
        proof=await _proof(at, permit),
    )
    try:
        return await at.tools.desk.spend(permit, reading)
    except PermitRefused as refused:
        raise Hold(
            "refused", f"the write was not begun: {refused}", "an operator looks, lifts and confirms anew"
        ) from None
    finally:
        at.permit = None


async def _proof(at: Serving, permit: Permit) -> Proof | None:
    """Ask the unit on the same line whether it is a simulator, if no person has confirmed; real ones never are."""
    if permit.confirmed_by is ConfirmedBy.PERSON:
        return None
    nonce, line = secrets.token_hex(16), await at.line()
    if isinstance(line, CanProve):
        return await line.prove(nonce)
    mac = Wanted("mac", "proof that its display shows", pattern=r"[0-9a-f]{64}", required=False)
    text = f"Ask it by its keys for its proof of {nonce}."
    answer = await at.ask_hand(Question("prove", text, (mac,), {"nonce": nonce}))
    return Proof(nonce, str(answer["mac"])) if answer.get("mac") else None


async def _send(at: Serving, driver: ServedBy, act: SpentAct, permit: Permit) -> None:
    before = at.tools.pauses.total_us()
    try:
        await at.follow(StepName.WRITE, driver.write(act, at.image_bytes))
    except Refused as refused:
        await _ended(at, act, permit, "refused")
        raise Hold(
            "refused", f"{refused}; as far as the unit says, nothing was erased", "the reason is put right"
        ) from refused
    except OutcomeUnknown as unknown:
        await _ended(at, act, permit, "unknown")
        raise interrupted(f"{unknown}{_meanwhile(at, before)}") from unknown
    except (TransferCut, DeviceError) as cut:
        await _ended(at, act, permit, "cut")
        raise interrupted(f"{cut}{_meanwhile(at, before)}") from cut
    await _ended(at, act, permit, "whole")


def _meanwhile(at: Serving, before_us: int) -> str:
    """Say in a reason that it was not the unit that was away."""
    away_us = at.away_since(before_us)
    return f"; the bench PC was away for {duration(away_us)} meanwhile" if away_us else ""


async def _ended(at: Serving, act: SpentAct, permit: Permit, outcome: str) -> None:
    drafts = [
        at.draft(
            ActEnded(permit=permit.id, act=act.number, outcome=outcome, bytes=act.act.bytes, sha256=act.act.digest)
        )
    ]
    if outcome in ("cut", "unknown"):
        reason = f"the write of unit {at.unit} was cut short"
        drafts.append(at.draft(LineStopped(model=at.story.model, release=act.act.release or "", reason=reason)))
    await at.record(*drafts)
