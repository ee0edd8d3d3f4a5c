"""Memory twins of the journal, the archive and personal data: the same behaviour, nothing kept."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence

import anyio
import anyio.lowlevel

from benchday.domain.entries import Draft, Entry, Times
from benchday.domain.errors import AlreadyRecorded, RecordError, RecordFull
from benchday.domain.permits import Permit, Reading, SpentAct
from benchday.domain.seams import Clock
from benchday.record.chain import Head, forge_all, head_after
from benchday.record.personal import Reference, salted_digest
from benchday.record.spending import rule
from benchday.record.standing import SURVIVE_A_RESTART, Standings, refuse_spending


class MemoryJournal:
    """A journal that lives as long as the object; ``reopened`` plays a restart of the program."""

    def __init__(self, bench: str, clock: Clock, *, simulator_key: bytes | None = None) -> None:
        self._bench, self._clock, self._key = bench, clock, simulator_key
        self._entries: list[Entry] = []
        self._once: dict[str, int] = {}
        self._standings = Standings()
        self._closed = False

    async def append(self, drafts: Sequence[Draft], expect: Sequence[str] = ()) -> tuple[Entry, ...]:
        """Append all or none.

        Raises:
            AlreadyRecorded: one of the names was claimed before; nothing was appended.
            ValueError: a draft cannot become an entry; nothing was appended.
        """
        self._refuse_if_closed()
        if expect and not drafts:
            raise ValueError("a claimed name needs an entry")
        refuse_spending(drafts)
        entries = self._write(drafts, expect)
        await anyio.lowlevel.cancel_shielded_checkpoint()
        return entries

    def read(self, after: int = 0) -> tuple[Entry, ...]:
        """Return the entries with ``seq > after``, in order."""
        self._refuse_if_closed()
        return tuple(self._entries[after:])

    async def spend(self, permit: Permit, reading: Reading) -> SpentAct:
        """Check the permit against what the unit says now, record the intent, and only then hand out the act.

        Raises:
            PermitRefused: the permit does not allow it; the refusal is recorded.
        """
        self._refuse_if_closed()
        mono_us = self._clock.monotonic()
        ruling = rule(permit, reading, self._standings, self._write, mono_us=mono_us, simulator_key=self._key)
        await anyio.lowlevel.cancel_shielded_checkpoint()
        return ruling.handed_out()

    async def close(self) -> None:
        """Take nothing more."""
        self._closed = True

    def reopened(self, *, simulator_key: bytes | None = None) -> MemoryJournal:
        """Return the journal as a restarted program would find it."""
        again = MemoryJournal(self._bench, self._clock, simulator_key=simulator_key)
        again._entries, again._once = list(self._entries), dict(self._once)
        again._standings.add(e for e in again._entries if e.kind in SURVIVE_A_RESTART)
        return again

    def _write(self, drafts: Sequence[Draft], claims: Sequence[str]) -> tuple[Entry, ...]:
        times = Times(at_us=self._clock.now(), wall_us=self._clock.wall(), mono_us=self._clock.monotonic())
        head = head_after(self._entries, Head())
        entries = forge_all(drafts, bench=self._bench, head=head, times=times)
        for name in claims:
            if name in self._once:
                raise AlreadyRecorded(name, self._once[name])

        self._entries += entries
        self._once.update((name, entries[0].seq) for name in claims)
        self._standings.add(entries)
        return entries

    def _refuse_if_closed(self) -> None:
        if self._closed:
            raise RecordError("the journal is closed; open it again")


class MemoryArchive:
    """An archive that lives as long as the object, with as much room as it is given."""

    def __init__(self, room_bytes: int = 1 << 30) -> None:
        self.files: dict[str, bytes] = {}
        """What is kept: SHA-256 (64 hex digits) -> bytes. A test may damage it."""
        self._room = room_bytes

    async def begin(self) -> MemoryIncoming:
        """Begin to take one file."""
        await anyio.lowlevel.checkpoint()
        return MemoryIncoming(self)

    async def holds(self, sha256: str) -> bool:
        """Tell whether the kept file is whole."""
        await anyio.lowlevel.checkpoint()
        kept = self.files.get(sha256)
        return kept is not None and hashlib.sha256(kept).hexdigest() == sha256

    def room_bytes(self) -> int:
        """Return what is left of the room, in bytes."""
        return self._room - sum(map(len, self.files.values()))


class MemoryIncoming:
    """A recording on its way into a memory archive."""

    def __init__(self, archive: MemoryArchive) -> None:
        self._archive, self._data, self._ended = archive, bytearray(), False

    async def add(self, data: bytes) -> None:
        """Take the next bytes.

        Raises:
            RecordFull: no room.
        """
        await anyio.lowlevel.checkpoint()
        if self._ended:
            raise RecordError("this recording was finished or abandoned; begin another")
        if len(self._data) + len(data) > self._archive.room_bytes():
            await self.abandon()
            raise RecordFull("nothing was kept: the archive takes no more; make room, then preserve again")
        self._data += data

    async def finish(self) -> str:
        """Keep it by its digest and return that."""
        await anyio.lowlevel.checkpoint()
        if self._ended:
            raise RecordError("this recording was finished or abandoned; begin another")
        self._ended = True
        sha256 = hashlib.sha256(self._data).hexdigest()
        self._archive.files[sha256] = bytes(self._data)
        return sha256

    async def abandon(self) -> None:
        """Leave nothing behind."""
        self._ended = True
        self._data.clear()


class MemoryPersonal:
    """Personal data that lives as long as the object."""

    def __init__(self) -> None:
        self._texts: dict[str, tuple[bytes, str]] = {}

    async def keep(self, text: str) -> Reference:
        """Keep a text; return what an entry may carry of it."""
        await anyio.lowlevel.checkpoint()
        name, salt = secrets.token_hex(16), secrets.token_bytes(16)
        self._texts[name] = salt, text
        return Reference(name, salted_digest(salt, text))

    def look_up(self, name: str) -> str | None:
        """Return the text; None if it was erased or never kept."""
        return self._texts[name][1] if name in self._texts else None

    def proves(self, reference: Reference) -> bool | None:
        """Tell whether the kept text is the one that the reference was made for; None if it was erased."""
        kept = self._texts.get(reference.id)
        return None if kept is None else salted_digest(*kept) == reference.digest

    async def erase(self, name: str) -> bool:
        """Erase text and salt; tell whether there was something to erase."""
        await anyio.lowlevel.checkpoint()
        return self._texts.pop(name, None) is not None

    async def close(self) -> None:
        """Forget everything."""
        self._texts.clear()
