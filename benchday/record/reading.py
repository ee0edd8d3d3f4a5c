"""Reading a record that somebody else may be writing."""

from __future__ import annotations

import heapq
import sqlite3
from collections.abc import Collection, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from benchday.domain.entries import Entry
from benchday.domain.errors import RecordDamaged, RecordError
from benchday.record import chain
from benchday.record.database import connect_reader, in_our_words, mending
from benchday.record.end_note import cut_off, read_note
from benchday.record.migrating import refuse_newer, shipped
from benchday.record.place import Place, is_simulated


class RecordReader:
    """Reads the chains of all benches in one record; never writes, never keeps the writer waiting."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection, self._path = connection, path
        self.simulated = is_simulated(connection, path)
        """Whether the record is of simulated work."""

    def cut_off(self) -> tuple[str, ...]:
        """Return a sentence for each chain of which the end is known to be cut off."""
        with in_our_words(self._path):
            return tuple(cut_off(self._connection, read_note(Place(self._path.parent).end)))

    def benches(self) -> tuple[str, ...]:
        """Return the names of the benches that have entries here, sorted."""
        with in_our_words(self._path):
            return tuple(row[0] for row in self._connection.execute("SELECT DISTINCT bench FROM entry ORDER BY bench"))

    def read(self, bench: str, after: int = 0) -> tuple[Entry, ...]:
        """Return the entries of a bench with ``seq > after``, in order."""
        with in_our_words(self._path):
            return chain.read(self._connection, bench, after)

    def entries(self, kinds: Collection[str]) -> Iterator[Entry]:
        """Yield the entries of these kinds of all benches, one by one.

        Those of a bench come in chain order; benches take turns by the clock on the wall.
        """
        with in_our_words(self._path):
            chains = (chain.walk(self._connection, bench, kinds) for bench in self.benches())
            yield from heapq.merge(*chains, key=lambda entry: entry.wall_us)

    def read_unit(self, unit: str) -> tuple[Entry, ...]:
        """Return the entries about one unit, by bench and in chain order."""
        with in_our_words(self._path):
            return chain.read_unit(self._connection, unit)

    def words(self, name: str) -> str | None:
        """Return the personal data of that reference; None if it was erased or never kept."""
        path = Place(self._path.parent).personal
        if not path.is_file():
            return None
        with in_our_words(path), closing(connect_reader(path)) as connection:
            row = connection.execute("SELECT text FROM personal WHERE id = ?", (name,)).fetchone()

        return None if row is None else str(row[0])


def is_begun(folder: Path) -> bool:
    """Tell whether there is a record at ``folder``; one whose making was cut short is none yet, and is made anew.

    Raises:
        RecordError: a newer program wrote it, or something else did.
        RecordDamaged
    """
    path = Place(folder).journal
    if not path.is_file():
        return False
    with closing(connect_reader(path)) as connection, in_our_words(path):
        made = refuse_newer(connection, path, shipped())
        # What sort of record it is stands in it last.
        return bool(made) and connection.execute("SELECT 1 FROM record").fetchone() is not None


@contextmanager
def open_reader(folder: Path) -> Iterator[RecordReader]:
    """Open the record at ``folder`` for reading.

    Raises:
        RecordError: there is none, or a newer program wrote it.
        RecordDamaged
    """
    path = Place(folder).journal
    with closing(connect_reader(path)) as connection:
        if not refuse_newer(connection, path, shipped()):
            if read_note(Place(folder).end):
                raise RecordDamaged(f"{path} is empty, although entries were recorded there; {mending(folder)}")
            raise RecordError(f"the record at {folder} was never begun; check the path")
        yield RecordReader(connection, path)
