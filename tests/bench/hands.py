"""A shop whose units have no line of their own: a person who has each in hand does all of it, or what a line cannot."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, cast

from benchday.devices.completed import completed
from benchday.devices.drivers.by_hand import ByHandDriver, InHand
from benchday.devices.drivers.by_hand_questions import Question as HandQuestion
from benchday.domain.by_hand import HandCapability
from benchday.domain.fold import ItemState
from benchday.domain.playbook import Playbook
from benchday.domain.readings import Identity, Mode, PowerReading
from benchday.domain.seams import AskHand, Question, ServedBy
from tests.bench.fake_unit import FakeDriver, FakeUnit
from tests.bench.shop import Shop


class Nothing:
    """A line on which nothing can be asked."""


class OnlyIdentifies:
    """A line on which the unit says who it is, and no more."""

    def __init__(self, driver: FakeDriver) -> None:
        self._driver = driver

    async def identify(self) -> Identity:
        """Say who it is."""
        return await self._driver.identify()

    async def aclose(self) -> None:
        """Let go of the line."""
        await self._driver.aclose()


class HandShop(Shop):
    """Serves its units by hand; ``lines`` names those that can say over a cable who they are."""

    lines: frozenset[str] = frozenset()
    packs: Mapping[str, int] = {}
    folder: Path

    def by_hand(self, folder: Path, *lines: str) -> None:
        """Put people to work: what they copy goes into a folder."""
        self.folder, self.lines = folder, frozenset(lines)
        self.people.answers |= {f"hand:{capability}": self.in_hand for capability in HandCapability}

    async def _open(self, playbook: Playbook, unit: str, place: str | None, ask: AskHand) -> ServedBy:
        async def put(question: HandQuestion) -> Mapping[str, object]:
            return await ask(Question(question.capability, question.text, question.wanted, question.figures))

        fake = FakeDriver(self.units[unit]) if unit in self.lines else None
        hands = ByHandDriver(put, InHand(unit, playbook.by_hand, self.packs))
        return cast("ServedBy", completed(OnlyIdentifies(fake) if fake is not None else Nothing(), hands))

    def in_hand(self, _: object, asked: ItemState) -> dict[str, Any]:
        """Do what is asked, and say what the unit shows."""
        unit, names = self.units[asked.item.unit or ""], {w.name for w in asked.item.wanted}
        if "begun" in names:
            unit.reaches.append(("write", "by hand"))
            unit.recordings.clear()
            unit.mode = Mode.BOOT
        if "outcome" in names:
            unit.end_write(self.image_of(asked))
        if "up" in names:
            unit.start()
        if "folder" in names:
            self._copy(unit)
        return self.shown(unit)

    def image_of(self, asked: ItemState) -> bytes:
        """Return the image that an item about a write names."""
        digest = asked.item.figures["image_sha256"]
        return next(d for d in self.store.files.values() if hashlib.sha256(d).hexdigest() == digest)

    def _copy(self, unit: FakeUnit) -> None:
        for name, data in unit.recordings.items():
            (self.folder / name).write_bytes(data)

    def shown(self, unit: FakeUnit) -> dict[str, Any]:
        """Say what a person reads off a unit."""
        power = PowerReading(unit.charge_percent, None, 40_000, 2951, unit.external)
        return {
            "serial": unit.serial, "model": unit.model, "hardware": unit.hardware, "mode": unit.mode.value,
            "release": unit.release if unit.mode is Mode.RUN else None, "options": "dual;radio", "term": unit.term,
            "charge_percent": power.charge_percent, "external": power.external, "full_mwh": power.full_mwh,
            "temperature_c": 22, "count": len(unit.recordings), "folder": str(self.folder),
            "settings": "; ".join(f"{n}={v}" for n, v in unit.settings.items()), "result": "pass", "begun": True,
            "outcome": "whole", "up": True, "done": True, "fix": "single", "satellites": 9,
        }  # fmt: skip
