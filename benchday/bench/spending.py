"""Spending an act of a permit against what the unit says right before."""

from __future__ import annotations

import secrets

from benchday.bench.serving import Serving
from benchday.domain.items import Wanted
from benchday.domain.permits import ConfirmedBy, Permit, Reading, SpentAct, Verb
from benchday.domain.readings import Proof
from benchday.domain.seams import CanProve, Question


async def spend(at: Serving, permit: Permit, verb: Verb, digest: str) -> SpentAct:
    """Spend the next act of a permit; whatever comes of it, the permit is not offered again.

    Raises:
        PermitRefused: what was confirmed no longer holds; the refusal is recorded.
        DeviceError: the unit did not say who it is; nothing was spent.
    """
    at.permit = None
    found = await (await at.line()).identify()
    reading = Reading(
        serial=found.serial,
        model=found.model,
        hardware=found.hardware,
        verb=verb,
        digest=digest,
        playbook_digest=at.tools.plan.playbook_digest(at.playbook),
        proof=await _proof(at, permit),
    )
    return await at.tools.desk.spend(permit, reading)


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
