"""The journal of a bench in SQLite: append-only, chained, committed and synced before anybody is told.

One connection writes and checkpoints, in one thread of one process that holds a file lock; every other connection is
opened ``mode=ro`` with ``wal_autocheckpoint=0``. Besides order and speed this gives safety: SQLite 3.7.0 to 3.51.2 can
corrupt a database in WAL mode when two connections write or checkpoint at the same moment (its WAL-reset bug, fixed in
3.51.3). Here there is never a second one that does either, so that fault is ruled out by construction. The write-ahead
log needs memory shared within one computer, so a record is never kept on a network share.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from typing import cast

from benchday.domain.entries import Draft, Entry, Times
from benchday.domain.errors import RecordError
from benchday.domain.permits import Permit, Reading, SpentAct
from benchday.domain.seams import Clock
from benchday.record import chain
from benchday.record.chain import Head
from benchday.record.database import (
    connect_reader,
    connect_writer,
    in_our_words,
    is_failed_sync,
    patiently,
    translated,
)
from benchday.record.end_note import EndNote
from benchday.record.lock import FileLock
from benchday.record.migrating import Migration, migrate, shipped
from benchday.record.place import Place, mark, refuse_copy
from benchday.record.spending import Ruling, rule
from benchday.record.standing import Standings, refuse_spending
from benchday.record.verifying import refuse_broken, refuse_damaged
from benchday.record.writer import Job, Writer


@dataclass(slots=True)
class _Transaction:
    """What one transaction adds to the chain; the journal takes it over once it is committed."""

    connection: sqlite3.Connection
    path: Path
    bench: str
    clock: Clock
    head: Head
    added: tuple[Entry, ...] = ()

    def write(self, drafts: Sequence[Draft], claims: Sequence[str]) -> tuple[Entry, ...]:
        """Write what follows the end; ``head`` and ``added`` move only if all of it was written."""
        times = Times(at_us=self.clock.now(), wall_us=self.clock.wall(), mono_us=self.clock.monotonic())
        entries = chain.forge_all(drafts, bench=self.bench, head=self.head, times=times)
        chain.insert(self.connection, entries, claims)
        self.head = chain.head_after(entries, self.head)
        self.added += entries
        return entries

    def run(self, job: Job) -> None:
        """Run one job so that its failure leaves nothing of it and does not touch the others."""
        self.connection.execute("SAVEPOINT job")
        try:
            job.answer = job.work(self)
        except Exception as error:
            if not self.connection.in_transaction:
                # SQLite has undone the whole transaction: nothing of the others is left either.
                raise
            job.error = translated(error, self.path) if isinstance(error, sqlite3.Error) else error
            self.connection.execute("ROLLBACK TO job")
        self.connection.execute("RELEASE job")


class SqliteJournal:
    """The record of one bench, open for writing. Made by ``open_journal``."""

    def __init__(
        self,
        path: Path,
        bench: str,
        clock: Clock,
        *,
        simulator_key: bytes | None,
        writing: sqlite3.Connection,
        note: EndNote,
        parts: ExitStack,
    ) -> None:
        self._path, self._bench, self._clock, self._key = path, bench, clock, simulator_key
        self._writing, self._note, self._parts = writing, note, parts
        self._standings = Standings()
        with in_our_words(path):
            self._head = chain.checked_head(writing, bench, path)
            self._standings.add(chain.read_lines(writing, bench))

        # Closed before the writing connection, which as the last one puts the write-ahead log away.
        self._reading = parts.enter_context(closing(connect_reader(path)))
        self._one_reader = threading.Lock()
        self._closed = False
        self._failed = False
        """A sync failed: nothing is recorded after that by this program."""
        self._writer = Writer(self._commit, name=f"journal of {bench}")

    async def append(self, drafts: Sequence[Draft], expect: Sequence[str] = ()) -> tuple[Entry, ...]:
        """Append all or none; return when they are committed and synced.

        Once handed in, they are written even if the caller is cancelled.

        Raises:
            AlreadyRecorded: one of the names was claimed before; nothing was appended.
            RecordFull: no room on the disk; nothing was appended.
            ValueError: a draft cannot become an entry; nothing was appended.
        """
        if not drafts:
            if expect:
                raise ValueError("a claimed name needs an entry")
            return ()

        refuse_spending(drafts)
        kept = tuple(drafts), tuple(expect)
        job = Job(lambda transaction: transaction.write(*kept))
        return cast("tuple[Entry, ...]", await self._writer.hand_in(job))

    def read(self, after: int = 0) -> tuple[Entry, ...]:
        """Return the entries of this bench with ``seq > after``, in order.

        Raises:
            RecordError: the journal is closed.
        """
        if self._closed:
            raise RecordError("the journal is closed; open it again")
        with self._one_reader, in_our_words(self._path):
            return chain.read(self._reading, self._bench, after)

    async def spend(self, permit: Permit, reading: Reading) -> SpentAct:
        """Check the permit against what the unit says now, record the intent, and only then hand out the act.

        Raises:
            PermitRefused: the permit does not allow it; the refusal is recorded.
            RecordFull: no room on the disk; nothing was recorded and nothing is handed out.
        """

        def decide(transaction: _Transaction) -> Ruling:
            mono_us = self._clock.monotonic()
            return rule(permit, reading, self._standings, transaction.write, mono_us=mono_us, simulator_key=self._key)

        ruling = cast("Ruling", await self._writer.hand_in(Job(decide, alone=True)))
        return ruling.handed_out()

    async def close(self) -> None:
        """Finish what was handed in, then close and let go of the lock."""
        await self._writer.close()
        self._closed = True
        with in_our_words(self._path):
            self._parts.close()

    def _commit(self, jobs: Sequence[Job]) -> None:
        if self._failed:
            raise RecordError(
                f"the disk under {self._path} failed: nothing more is recorded; check it, then start again"
            )
        transaction = _Transaction(self._writing, self._path, self._bench, self._clock, self._head)
        with in_our_words(self._path):
            try:
                patiently(self._path, lambda: self._writing.execute("BEGIN IMMEDIATE"))
                for job in jobs:
                    transaction.run(job)
                self._writing.execute("COMMIT")
            except BaseException as error:
                # A sync that succeeds after one that failed proves nothing: the system may have dropped what it could
                # not write (Rebello et al., "Can Applications Recover from fsync Failures?", USENIX ATC 2020).
                self._failed = is_failed_sync(error)
                if self._writing.in_transaction:
                    self._writing.execute("ROLLBACK")
                raise

        self._head = transaction.head
        self._note.tell(self._bench, self._head)
        self._standings.add(transaction.added)


def open_journal(
    folder: Path,
    bench: str,
    clock: Clock,
    *,
    simulated: bool,
    simulator_key: bytes | None = None,
    migrations: Sequence[Migration] | None = None,
) -> SqliteJournal:
    """Open the record at ``folder`` for writing, and make it if there is none.

    Args:
        simulated: whether the bench serves simulators; written once, and a record of the other sort is refused.
        simulator_key: the day's key, with which simulators prove what they are.
        migrations: other than the shipped ones, for tests.

    Raises:
        RecordHeld: another program writes it; the text says who.
        RecordDamaged: it does not hold what it should.
        RecordError: it cannot be written, is of the other sort, or of a newer program.
    """
    refuse_copy(folder)
    place = Place.prepared(folder)
    with ExitStack() as parts:
        lock = FileLock.take(place.lock, clock.wall())
        parts.callback(lock.let_go)
        refuse_damaged(folder)
        writing = parts.enter_context(closing(connect_writer(place.journal)))
        if migrate(writing, place.journal, migrations or shipped()):
            refuse_broken(folder)
        mark(writing, place.journal, simulated=simulated, wall_us=clock.wall())
        note = parts.enter_context(closing(_note_of(place)))
        return SqliteJournal(
            place.journal, bench, clock, simulator_key=simulator_key, writing=writing, note=note, parts=parts.pop_all()
        )


def _note_of(place: Place) -> EndNote:
    try:
        return EndNote(place.end)
    except OSError as error:
        raise RecordError(f"cannot write {place.end}: {error.strerror}; make file and folder writable") from error
