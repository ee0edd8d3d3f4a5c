"""Moments at which a program can be killed: wrappers around what it writes to and acts on, that count as they pass."""

from __future__ import annotations

import os
import signal
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchday.domain.entries import Draft, Entry
from benchday.domain.items import Item
from benchday.domain.permits import Permit, Reading, SpentAct
from benchday.domain.playbook import Playbook
from benchday.domain.readings import Progress, Recording
from benchday.domain.seams import Archive, AskHand, Incoming, Journal, OpenDriver, ServedBy


@dataclass(frozen=True, slots=True)
class Kill:
    """Where a run is killed: at the n-th of the moments whose words begin so, n from 1."""

    n: int
    beginning: str = ""
    """Empty for any moment."""


@dataclass(slots=True)
class Points:
    """Counts moments, and kills this process at the one that was asked for."""

    folder: Path
    """Gets passed.txt (moments in order), acknowledged.txt (entries the program knew to be recorded) and killed.txt."""
    kill: Kill | None = None
    before_death: Callable[[], None] = lambda: None
    """Kills whatever is to die together with this process."""
    _passed: int = 0

    def passed(self, moment: str) -> None:
        """Pass a moment: die here, or go on."""
        if self.kill is not None and moment.startswith(self.kill.beginning):
            self._passed += 1
            if self._passed == self.kill.n:
                _add_line(self.folder / "killed.txt", moment)
                self.before_death()
                os.kill(os.getpid(), signal.SIGKILL)
        _add_line(self.folder / "passed.txt", moment)

    def acknowledged(self, entries: Sequence[Entry]) -> None:
        """Write down what the program has been told is recorded."""
        for entry in entries:
            _add_line(self.folder / "acknowledged.txt", f"{entry.seq} {entry.digest.hex()}")


def _add_line(path: Path, line: str) -> None:
    # One system call, which a kill of this process cannot undo.
    fd = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    os.write(fd, line.encode() + b"\n")
    os.close(fd)


class CountedJournal:
    """A journal with a moment before and after each commit."""

    def __init__(self, journal: Journal, points: Points) -> None:
        self._journal, self._points = journal, points

    async def append(self, drafts: Sequence[Draft], expect: Sequence[str] = ()) -> tuple[Entry, ...]:
        """Append."""
        what = "+".join(_told(d) for d in drafts[:3])
        self._points.passed(f"before append {what}")
        entries = await self._journal.append(drafts, expect)
        self._points.acknowledged(entries)
        self._points.passed(f"after append {what}")
        return entries

    def read(self, after: int = 0) -> tuple[Entry, ...]:
        """Read."""
        return self._journal.read(after)

    async def spend(self, permit: Permit, reading: Reading) -> SpentAct:
        """Spend."""
        self._points.passed("before spend")
        act = await self._journal.spend(permit, reading)
        self._points.passed("after spend")
        return act

    async def close(self) -> None:
        """Close."""
        await self._journal.close()


def _told(draft: Draft) -> str:
    about = draft.facts.get("step") or draft.facts.get("pool")
    if draft.kind == "item_asked":
        about = draft.facts["item"]["topic"]
    return f"{draft.kind} ({about})" if about else draft.kind


class CountedArchive:
    """An archive with a moment before and after each file is kept."""

    def __init__(self, archive: Archive, points: Points) -> None:
        self._archive, self._points = archive, points

    async def begin(self) -> Incoming:
        """Begin to take one file."""
        return _CountedIncoming(await self._archive.begin(), self._points)

    async def holds(self, sha256: str) -> bool:
        """Re-read a file."""
        return await self._archive.holds(sha256)

    def room_bytes(self) -> int:
        """Tell the room."""
        return self._archive.room_bytes()


class _CountedIncoming:
    def __init__(self, incoming: Incoming, points: Points) -> None:
        self._incoming, self._points = incoming, points

    async def add(self, data: bytes) -> None:
        await self._incoming.add(data)

    async def finish(self) -> str:
        self._points.passed("before file kept")
        digest = await self._incoming.finish()
        self._points.passed("after file kept")
        return digest

    async def abandon(self) -> None:
        await self._incoming.abandon()


def counted_opener(open_driver: OpenDriver, points: Points) -> OpenDriver:
    """Return an opener whose drivers pass moments around everything that changes the unit, and around each copy."""

    async def opened(playbook: Playbook, unit: str, place: str | None, ask: AskHand) -> ServedBy:
        driver = await open_driver(playbook, unit, place, ask)
        # A driver is put together from bound methods, so that these few can be replaced on the object itself.
        for name, wrapped in (
            ("write", _write(driver.write, points)),
            ("restart", _restart(driver.restart, points)),
            ("fetch", _fetch(driver.fetch, points)),
        ):
            setattr(driver, name, wrapped)
        return driver

    return opened


def _write(
    write: Callable[[SpentAct, bytes], AsyncIterator[Progress]], points: Points
) -> Callable[[SpentAct, bytes], AsyncIterator[Progress]]:
    async def counted(act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        points.passed("write: before it begins")
        told: set[str] = set()
        async for progress in write(act, image):
            for name, reached in _reached(progress):
                if reached and name not in told:
                    told.add(name)
                    points.passed(f"write: {name}")
            yield progress
        points.passed("write: after its end")

    return counted


def _reached(progress: Progress) -> tuple[tuple[str, bool], ...]:
    percent = 100 * progress.done // max(progress.of, 1)
    return (
        (f"first of {progress.what}", True),
        (f"half of {progress.what}", percent >= 50),
        (f"all of {progress.what}", percent >= 100),
    )


def _restart(restart: Callable[[SpentAct], Awaitable[None]], points: Points) -> Callable[[SpentAct], Awaitable[None]]:
    async def counted(act: SpentAct) -> None:
        points.passed("restart: before")
        await restart(act)
        points.passed("restart: after")

    return counted


Sink = Callable[[bytes], Awaitable[None]]


def _fetch(
    fetch: Callable[[Recording, Sink], AsyncIterator[Progress]], points: Points
) -> Callable[[Recording, Sink], AsyncIterator[Progress]]:
    async def counted(recording: Recording, sink: Sink) -> AsyncIterator[Progress]:
        points.passed("copy: before")
        async for progress in fetch(recording, sink):
            yield progress
        points.passed("copy: after")

    return counted


def counted_hands(
    hands: Callable[[Item, Mapping[str, Any]], Awaitable[None]], points: Points
) -> Callable[[Item, Mapping[str, Any]], Awaitable[None]]:
    """Return hands that pass a moment before and after each deed."""

    async def counted(item: Item, value: Mapping[str, Any]) -> None:
        points.passed(f"hands: before {item.topic}")
        await hands(item, value)
        points.passed(f"hands: after {item.topic}")

    return counted
