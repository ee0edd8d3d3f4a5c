"""Beds on which a person is the line: the by-hand driver and a unit that exists on paper only."""

from __future__ import annotations

import tempfile
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any

from benchday.devices.drivers import Place, make_driver
from benchday.testing.driver_deeds import FaultBed, Seen
from benchday.testing.hand_faults import OTHER_SERIAL, Hand
from tests.contracts.fault_kinds import Kind
from tests.contracts.fault_units import LIMIT_S, MOST_BYTES
from tests.devices.acts import spent

SERIAL = "0074"
IMAGE = b"an image" * 1000
COPIED = {"a.rnx": b"one" * 100_000, "b.rnx": b"two" * 110_000}
"""Large enough that a copy is read in several pieces."""


class OnPaper:
    """A unit in somebody's hands."""

    def __init__(self, copies: Path) -> None:
        self.copies = copies
        self.begun, self.started = 0, 0
        self.taken: list[str] = []
        self.settings = {"edm_mode": "prism", "search": "off"}

    def answer(self, question: Any, does: bool) -> Mapping[str, Any]:
        """Do what is asked, and tell of it."""
        if does:
            self._do(question)
        told = {
            "serial": SERIAL,
            "model": "Tiller",
            "hardware": "E",
            "mode": "run",
            "release": "7.0",
            "charge_percent": "80",
            "external": "yes",
            "count": len(COPIED),
            "done": "yes",
            "folder": str(self.copies),
            "settings": "; ".join(f"{name}={value}" for name, value in self.settings.items()),
            "begun": "yes",
            "outcome": "whole" if does else "failed",
            "up": "yes",
            "result": "pass",
            "fix": "none",
            "satellites": "7",
        }
        return {wanted.name: told.get(wanted.name) for wanted in question.wanted}

    def _do(self, question: Any) -> None:
        names = {wanted.name for wanted in question.wanted}
        if "begun" in names:
            self.begun += 1
        if "outcome" in names:
            self.taken.append(str(question.figures["image_sha256"]))
        if "up" in names:
            self.started += 1
        if question.capability == "put settings":
            pairs = question.text.splitlines()[0].partition(": ")[2].split("; ")
            self.settings |= dict(pair.split("=", 1) for pair in pairs)

    def seen(self) -> Seen:
        """Tell what was done to it."""
        return Seen(self.begun, tuple(self.taken), dict(self.settings), self.started)


async def _nothing() -> None:
    """There is nothing to switch off and on: a person answers rightly again."""


@asynccontextmanager
async def hand_bed(kind: Kind) -> AsyncIterator[FaultBed]:
    """A unit on paper and a person who has it in hand."""
    with tempfile.TemporaryDirectory() as folder:
        copies = Path(folder) / "copies"
        copies.mkdir()
        for name, data in COPIED.items():
            (copies / name).write_bytes(data)
        on_paper = OnPaper(copies)
        hand = Hand(on_paper.answer, copies)

        async def opened(patient: bool) -> Any:
            del patient
            return await make_driver(kind.driver, Place("", ask=hand, unit=SERIAL))

        yield FaultBed(
            opened,
            hand,
            SERIAL,
            partial(spent, SERIAL),
            on_paper.seen,
            _nothing,
            image=IMAGE,
            other_serial=OTHER_SERIAL,
            setting=kind.setting,
            limit_s=LIMIT_S,
            most_bytes=MOST_BYTES,
        )
