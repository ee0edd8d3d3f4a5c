"""Beds of a unit whose memory shows as a drive, on a small disk of its own: it is pulled, or is full."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import AsyncIterator, Mapping
from contextlib import ExitStack, asynccontextmanager
from pathlib import Path
from typing import Any

import anyio

from benchday.testing.driver_deeds import FaultBed, Seen
from benchday.testing.storage_faults import Card, card
from tests.contracts.fault_kinds import Kind
from tests.contracts.fault_units import bed_on, opened_at, seen, served
from tests.record.small_disk import small_disk
from tests.simulators.stranger import Process

DISK_BYTES = 4 << 20
UP_WITHIN_S = 10.0


class Watched:
    """What lies where an image is put, and what the unit tells of itself."""

    def __init__(self, process: Process, drive: Card) -> None:
        self._process, self._drive = process, drive
        self._taken: dict[int, str] = {}

    def seen(self) -> Seen:
        """Tell of each image that was ever found whole on the drive."""
        told, image = seen(self._process), self._drive.place / "UPDATE" / "SLUICEPAD.FEN"
        if image.is_file() and (at := image.stat().st_mtime_ns) not in self._taken:
            self._taken[at] = hashlib.sha256(image.read_bytes()).hexdigest()
        return Seen(told.begun, tuple(self._taken.values()), told.settings, told.started)


class Person:
    """Unmounts and restarts, as asked."""

    def __init__(self, process: Process) -> None:
        self._process = process

    async def __call__(self, question: Any) -> Mapping[str, object]:
        before = self._process.state()["booted_at_s"]
        self._process.hand(do=question.capability)
        if question.capability == "restart":
            with anyio.fail_after(UP_WITHIN_S):
                while self._process.state()["booted_at_s"] == before:  # noqa: ASYNC110  # another process tells nobody
                    await anyio.sleep(0.01)
        return {"unmounted": True, "up": True}


@asynccontextmanager
async def drive_bed(kind: Kind) -> AsyncIterator[FaultBed]:
    """A unit and its drive."""
    with ExitStack() as kept:
        folder = Path(kept.enter_context(tempfile.TemporaryDirectory()))
        disk = kept.enter_context(small_disk(folder / "disk", DISK_BYTES)).path
        if not os.path.ismount(disk):
            raise RuntimeError("needs a small file system of its own: run as a user who may mount a tmpfs")
        filler, drive = disk / "filler", disk / "drive"

        def fill() -> None:
            with filler.open("wb", buffering=0) as file:
                try:
                    while True:
                        file.write(bytes(4096))
                except OSError:
                    return

        async with served(kind, "--drive", str(disk)) as (ours, _):
            with anyio.fail_after(UP_WITHIN_S):
                while not drive.exists():  # noqa: ASYNC110  # another process tells nobody
                    await anyio.sleep(0.01)
            async with card(drive, fill, lambda: filler.unlink(missing_ok=True)) as between:
                opened = opened_at(kind, str(ours.link), {}, ask=Person(ours))
                yield bed_on(kind, ours, between, opened, seen=Watched(ours, between).seen)
