"""The permit desk: asks an operator to confirm named acts on one unit, and spends them.

What the confirmation shows is what it binds: unit, model, hardware revision, image digest, playbook digest, losses,
operator, expiry. The prompt blanks the last characters of the serial and asks to read them off the unit's label.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from benchday.bench.book import Book
from benchday.bench.queue import ItemQueue
from benchday.domain.bench import Policy
from benchday.domain.errors import PermitRefused
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import PermitGiven, PermitVoided
from benchday.domain.permits import Act, ConfirmedBy, Loss, Permit, Reading, SpentAct, Verb
from benchday.domain.units import Ability, blanked, wanted_characters


@dataclass(frozen=True, slots=True)
class Confirmation:
    """What is put before the operator."""

    unit: str
    """Serial as checked in, and as the unit reported it: they are the same, or there is no confirmation."""
    station: str
    model: str
    hardware: str
    acts: tuple[Act, ...]
    losses: tuple[Loss, ...]
    playbook_digest: str
    lines: tuple[str, ...]
    """What the operator reads besides what follows from the fields above."""
    cautions: tuple[str, ...]


class PermitDesk:
    """Gives permits and spends their acts."""

    def __init__(self, book: Book, queue: ItemQueue, policy: Policy) -> None:
        self._book = book
        self._queue = queue
        self.policy = policy
        self.given: dict[str, Permit] = {}
        """By id, those given by this program and neither spent nor voided."""

    async def confirm(self, asked: Confirmation) -> Permit | None:
        """Ask for the operator's confirmation; None if the operator declines.

        Raises:
            Withdrawn: it expired, or was voided.
        """
        wanted = wanted_characters(asked.unit, self._present())
        text = _text(asked, wanted)
        limit_us = self.policy.permit_minutes * 60_000_000
        item = Item(
            id="",
            kind=ItemKind.CONFIRM,
            topic="confirm",
            text=text,
            unit=asked.unit,
            station=asked.station,
            wanted=_wanted(asked.unit, wanted),
            ability=Ability.CONFIRM,
            cautions=asked.cautions,
        )
        answered = await self._queue.ask(item, verdict=lambda value: self._verdict(value, asked.unit))
        if answered.text("answer") == "not now":
            return None
        permit = Permit(
            unit=asked.unit,
            model=asked.model,
            hardware=asked.hardware,
            acts=asked.acts,
            losses=asked.losses,
            playbook_digest=asked.playbook_digest,
            operator=answered.operator,
            confirmed_by=ConfirmedBy(answered.by),
            station=asked.station,
            given_us=self._book.clock.now(),
            expires_mono_us=self._book.clock.monotonic() + limit_us,
            nonce=secrets.token_hex(16),
        )
        given = PermitGiven(permit=permit.as_facts(), id=permit.id, shown=text)
        await self._book.append(given.draft(unit=asked.unit, station=asked.station, operator=permit.operator))
        self.given[permit.id] = permit
        return permit

    async def spend(self, permit: Permit, reading: Reading) -> SpentAct:
        """Spend the next act: checked against what the unit says now, recorded, and only then handed out.

        Raises:
            PermitRefused: the refusal is recorded, and the permit is voided.
        """
        self.given.pop(permit.id, None)
        try:
            async with self._book.beside() as journal:
                return await journal.spend(permit, reading)
        except PermitRefused as refused:
            await self.void(permit, str(refused))
            raise

    async def void(self, permit: Permit, reason: str) -> None:
        """Withdraw a permit."""
        self.given.pop(permit.id, None)
        draft = PermitVoided(id=permit.id, reason=reason)
        await self._book.append(draft.draft(unit=permit.unit, station=permit.station))

    async def void_expired(self, reason: str) -> None:
        """Withdraw the permits whose time has passed."""
        now = self._book.clock.monotonic()
        for permit in [p for p in self.given.values() if now > p.expires_mono_us]:
            await self.void(permit, reason)

    def _verdict(self, value: Mapping[str, Any], serial: str) -> str | None:
        """Check what was read off the label, without telling what should stand there."""
        if value.get("answer") == "not now":
            return None
        typed = str(value.get("label") or "").strip().casefold()
        wanted = wanted_characters(serial, self._present())
        if typed in (wanted.casefold(), serial.casefold()):
            return None
        if typed == serial[-4:].casefold():
            return "another unit that is here ends on the same four; read the whole serial off the label"
        return "that is not what the label of this unit says; read it off the unit itself, not off the screen"

    def _present(self) -> frozenset[str]:
        return frozenset(s.serial for s in self._book.state.units.values() if s.present)


def _text(asked: Confirmation, wanted: str) -> str:
    shown = blanked(asked.unit) if len(wanted) < len(asked.unit) else "(read the whole serial off its label)"
    begins = "Write" if any(a.verb is Verb.WRITE_IMAGE for a in asked.acts) else "Put settings back on"
    lines = [
        f"{begins} unit {shown}, {asked.model} hardware {asked.hardware or 'not told'}, on station {asked.station}."
    ]
    lines += [
        f"Act: {a.verb.value} {a.release or ''}, {a.bytes:,} bytes, SHA-256 {a.digest[:16]}..." for a in asked.acts
    ]
    kept = [x for x in asked.losses if x.sha256]
    lost = [x for x in asked.losses if not x.sha256]
    if kept:
        lines.append(f"Erased from the unit, whole copies proved: {', '.join(x.name for x in kept)}.")
    if lost:
        lines.append(f"LOST FOR GOOD, let go by the owner: {', '.join(f'{x.name} ({x.bytes:,} bytes)' for x in lost)}.")
    if not asked.losses and begins == "Write":
        lines.append("No recordings are on the unit.")
    return "\n".join([*lines, *asked.lines])


def _wanted(serial: str, wanted: str) -> tuple[Wanted, ...]:
    whole = len(wanted) == len(serial)
    label = "the whole serial on the label" if whole else "the last four characters of the serial on the label"
    return (
        Wanted("answer", "write or not now", WantedKind.CHOICE, ("write", "not now")),
        Wanted("label", label, required=False),
    )
