"""The conformance suite of the Archive seam: each takes a maker and raises AssertionError for a broken promise.

Run every check of ``CHECKS`` over every implementation.
"""

from __future__ import annotations

import hashlib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Protocol

import anyio

from benchday.domain.errors import RecordError, RecordFull
from benchday.domain.seams import Archive


@dataclass(frozen=True, slots=True)
class ArchiveAtHand:
    """An archive and the ways to look behind it."""

    archive: Archive
    kept: Callable[[], dict[str, bytes]]
    """Everything it keeps or has left lying about, finished or not: name -> bytes."""
    damage: Callable[[str], None]
    """Change a byte of the kept file of this digest."""


class MakeArchive(Protocol):
    """Makes an empty archive; with ``room_bytes``, one that has no more room than that (rounded up to 64 KiB)."""

    async def __call__(self, room_bytes: int | None = None) -> ArchiveAtHand: ...


Check = Callable[[MakeArchive], Awaitable[None]]


async def keep(archive: Archive, data: bytes, piece_bytes: int = 1000) -> str:
    """Put some bytes into the archive, piece by piece."""
    incoming = await archive.begin()
    for start in range(0, len(data), piece_bytes):
        await incoming.add(data[start : start + piece_bytes])

    return await incoming.finish()


def expect(holds: object, promise: str) -> None:
    """Fail with the promise that was broken."""
    if not holds:
        raise AssertionError(promise)


async def names_what_it_keeps_by_digest(make: MakeArchive) -> None:
    """What was put in is kept byte for byte under its SHA-256: nothing, one byte, and more than one buffer."""
    hand = await make()
    for data in (b"", b"a", bytes(range(256)) * 10_000):
        sha256 = await keep(hand.archive, data, piece_bytes=70_000)
        expect(sha256 == hashlib.sha256(data).hexdigest(), "the name is the SHA-256 of the bytes")
        expect(hand.kept().get(sha256) == data, "the bytes are kept as they were put in")
        expect(await hand.archive.holds(sha256), "the archive holds what it kept")


async def keeps_nothing_before_it_is_finished(make: MakeArchive) -> None:
    """Half a recording is not held, and an abandoned one leaves nothing behind."""
    hand = await make()
    incoming = await hand.archive.begin()
    await incoming.add(b"half")
    expect(not await hand.archive.holds(hashlib.sha256(b"half").hexdigest()), "half a recording is not held")
    await incoming.abandon()
    expect(not hand.kept(), "an abandoned recording leaves nothing behind")
    for attempt in (lambda: incoming.add(b"more"), incoming.finish):
        try:
            await attempt()
        except RecordError:
            continue
        raise AssertionError("an abandoned recording took something")


async def keeps_equal_recordings_once(make: MakeArchive) -> None:
    """The same bytes again give the same name and leave one file."""
    hand = await make()
    expect(await keep(hand.archive, b"same") == await keep(hand.archive, b"same"), "equal bytes have one name")
    expect(len(hand.kept()) == 1, "equal bytes are kept once")


async def notices_damage(make: MakeArchive) -> None:
    """A kept file that has changed is not held, and keeping its bytes anew makes it whole."""
    hand = await make()
    sha256 = await keep(hand.archive, b"to be damaged")
    hand.damage(sha256)
    expect(not await hand.archive.holds(sha256), "a changed file is not held")
    await keep(hand.archive, b"to be damaged")
    expect(await hand.archive.holds(sha256), "kept anew, it is whole")
    expect(not await hand.archive.holds("00" * 32), "what was never kept is not held")


async def leaves_nothing_when_full(make: MakeArchive) -> None:
    """Without room nothing is left behind, and once a smaller recording fits, it is kept."""
    hand = await make(room_bytes=1 << 20)
    try:
        await keep(hand.archive, bytes(3 << 20), piece_bytes=1 << 18)
    except RecordFull as error:
        expect("make room" in str(error), "the error says what to do")
    else:
        raise AssertionError("more was kept than there is room")

    expect(not hand.kept(), "nothing is left behind")
    expect(await hand.archive.holds(await keep(hand.archive, b"small")), "what fits is kept afterwards")


async def takes_several_at_once(make: MakeArchive) -> None:
    """Recordings that come in at the same time do not mix, equal ones included."""
    hand = await make()
    wanted = [bytes([n // 2]) * 5000 for n in range(8)]

    async with anyio.create_task_group() as tasks:
        for data in wanted:
            tasks.start_soon(keep, hand.archive, data)

    expect(sorted(hand.kept().values()) == sorted(set(wanted)), "each is kept as it was")


async def tells_its_room(make: MakeArchive) -> None:
    """The room is told in bytes."""
    hand = await make()
    expect(hand.archive.room_bytes() > 0, "an empty archive has room")


CHECKS: tuple[Check, ...] = (
    names_what_it_keeps_by_digest,
    keeps_nothing_before_it_is_finished,
    keeps_equal_recordings_once,
    notices_damage,
    leaves_nothing_when_full,
    takes_several_at_once,
    tells_its_room,
)
"""Every promise of the seam."""
