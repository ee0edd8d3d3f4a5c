"""A shop whose units judge for themselves, at the moment a write reaches them, whether it may."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from benchday.domain.entries import Entry
from benchday.domain.permits import SpentAct
from benchday.domain.plan import DayPlan
from benchday.domain.playbook import Playbook
from benchday.domain.readings import Progress, Recording
from benchday.domain.seams import AskHand, ServedBy
from benchday.domain.units import wanted_characters
from tests.bench.fake_unit import FakeDriver, FakeUnit
from tests.bench.shop import Shop

MAY_CONFIRM = frozenset({"Ines Halloran"})


class WatchedDriver(FakeDriver):
    """Tells the shop of each write before anything is done, whatever act comes with it."""

    def __init__(self, unit: FakeUnit, shop: WatchedShop, label: str) -> None:
        super().__init__(unit)
        self._shop, self._label = shop, label

    async def recordings(self) -> tuple[Recording, ...]:
        """List what is on the unit, with digests if it is one that tells them."""
        told = await super().recordings()
        return told if self._shop.tells_digests else tuple(replace(r, sha256=None) for r in told)

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]:
        """Hand a recording over; one that is spoilt on its way comes with its right size."""

        async def spoiling(data: bytes) -> None:
            await sink(bytes(len(data)) if recording.name in self._shop.spoils else data)

        async for progress in super().fetch(recording, spoiling):
            yield progress

    async def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        """Take an image."""
        self._shop.write_reaches(self._label, act, image)
        async for progress in super().write(act, image):
            yield progress


class WatchedShop(Shop):
    """Collects what is wrong; everything is judged from entries, archive and units."""

    def __init__(self, plan: DayPlan, files: Mapping[str, bytes]) -> None:
        super().__init__(plan, files)
        self.spoils: set[str] = set()
        """Names of recordings whose bytes are not what the unit says, whenever they are copied."""
        self.tells_digests = True
        self.faults: list[str] = []
        self.begun: list[tuple[str, int]] = []
        """Permit and act of each write that reached a unit."""

    async def _open(self, playbook: Playbook, unit: str, place: str | None, ask: AskHand) -> ServedBy:
        assert playbook.connector is None or place, "a line needs its cable"
        fake = self.units[unit]
        fake.meet("open")
        return WatchedDriver(fake, self, unit)

    def write_reaches(self, label: str, act: SpentAct, image: bytes) -> None:
        """Judge a write before its first byte."""
        entries = self.journal.read()
        spent = [e for e in entries if e.kind == "act_spent" and e.unit == label]
        self.faults += self._wrong(label, act, image, spent[-1] if spent else None)
        self.begun.append((act.permit_id, act.number))

    def _wrong(self, label: str, act: SpentAct, image: bytes, intent: Entry | None) -> Iterator[str]:
        if intent is None:
            yield f"{label} is written with no act spent"
            return
        if (intent.facts["permit"], intent.facts["act"]) != (act.permit_id, act.number):
            yield f"{label} is written under another act than the last spent"
        if intent.facts["digest"] != hashlib.sha256(image).hexdigest():
            yield f"{label} gets another image than the act names"
        if (act.permit_id, act.number) in self.begun:
            yield f"{label} is written a second time under one act"
        if self.units[label].serial != label:
            yield f"{label} is written and says that it is {self.units[label].serial}"
        yield from self._permit_wrong(label, act.permit_id, intent)
        yield from self._bench_wrong(label, intent)
        yield from self._lost(label)

    def _permit_wrong(self, label: str, permit_id: str, intent: Entry) -> Iterator[str]:
        since = 0
        given: Entry | None = None
        for entry in self.journal.read()[: intent.seq - 1]:
            if entry.kind == "program_started":
                given, since = None, entry.seq
            elif entry.kind == "permit_given" and entry.facts["id"] == permit_id:
                given = entry
            elif entry.kind == "permit_voided" and entry.facts["id"] == permit_id:
                given = None
        if given is None:
            yield f"{label} is written under a permit that does not hold since entry {since}"
            return
        permit = given.facts["permit"]
        if permit["unit"] != label or permit["confirmed_by"] != "person" or permit["operator"] not in MAY_CONFIRM:
            yield f"{label} is written under a permit for {permit['unit']} by {permit['operator']}"
        if intent.mono_us > permit["expires_mono_us"]:
            yield f"{label} is written under a permit that has expired"
        yield from self._answer_wrong(label, given)

    def _answer_wrong(self, label: str, given: Entry) -> Iterator[str]:
        """The last confirmation about this unit was answered with what stands on its label."""
        entries = self.journal.read()[: given.seq]
        present = frozenset(r.serial for r in self.plan.roster)
        about = [e.facts["item"] for e in entries if e.kind == "item_asked" and e.unit == label]
        asked = [item["id"] for item in about if item["topic"] == "confirm"]
        answers = [e.facts["value"] for e in entries if e.kind == "item_answered" and e.facts["id"] in asked[-1:]]
        if not answers or answers[0].get("answer") != "write":
            yield f"{label} is written and nobody confirmed it"
        elif answers[0].get("label") not in (
            label,
            wanted_characters(label, present),
        ):
            yield f"{label} is written on the label {answers[0].get('label')}"

    def _bench_wrong(self, label: str, intent: Entry) -> Iterator[str]:
        """No write on a stopped line, none beside the first of its kind, one at a time on a unit."""
        stopped: set[tuple[str, str]] = set()
        verified: set[tuple[str, str]] = set()
        open_acts: dict[str, tuple[str, str]] = {}
        for entry in self.journal.read()[: intent.seq - 1]:
            f = entry.facts
            if entry.kind == "line_stopped":
                stopped.add((f["model"], f["release"]))
            elif entry.kind == "line_lifted":
                stopped.discard((f["model"], f["release"]))
            elif entry.kind == "act_spent":
                open_acts[entry.unit or ""] = (self.units[entry.unit or ""].model, f["release"])
            elif entry.kind == "unit_verified" and entry.unit in open_acts:
                verified.add(open_acts.pop(entry.unit))
            elif entry.kind in ("unit_held", "interrupt_settled"):
                open_acts.pop(entry.unit or "", None)
        kind = (self.units[label].model, intent.facts["release"])
        if kind in stopped:
            yield f"{label} is written while the line {kind} is stopped"
        beside = [u for u, k in open_acts.items() if k == kind and u != label and kind not in verified]
        if self.plan.day.policy.first_off and beside:
            yield f"{label} is written while {beside[0]}, the first {kind}, is not verified"

    def _lost(self, label: str) -> Iterator[str]:
        let_go = {r["name"] for f in self.facts("recordings_let_go", label) for r in f["recordings"]}
        for name, data in self.units[label].recordings.items():
            if name not in let_go and self.kept.files.get(hashlib.sha256(data).hexdigest()) != data:
                yield f"{label} is written and {name} has no whole copy"

    def spent(self) -> list[tuple[Any, Any]]:
        """Return permit and act of every act spent, in order."""
        return [(f["permit"], f["act"]) for f in self.facts("act_spent")]
