"""A bench's chain in SQL: the end of it, writing on, and reading."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchday.domain.entries import GENESIS, Draft, Entry, Times, digest_of
from benchday.domain.errors import AlreadyRecorded, RecordDamaged
from benchday.record.database import mending
from benchday.record.standing import SURVIVE_A_RESTART, lacking

_INSERT = "INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
_READ = "SELECT seq, body, prev, digest FROM entry WHERE bench = ? AND seq > ? ORDER BY seq"
_LAST_TWO = "SELECT seq, body, prev, digest FROM entry WHERE bench = ? ORDER BY seq DESC LIMIT 2"


@dataclass(frozen=True, slots=True)
class Head:
    """The end of a chain."""

    seq: int = 0
    digest: bytes = GENESIS


def forge_all(drafts: Iterable[Draft], *, bench: str, head: Head, times: Times) -> tuple[Entry, ...]:
    """Make the entries that follow ``head``.

    Raises:
        ValueError: a draft cannot become an entry.
    """
    entries: list[Entry] = []
    seq, prev = head.seq, head.digest
    for draft in drafts:
        lack = lacking(draft)
        if lack is not None:
            raise ValueError(lack)
        seq += 1
        entries.append(Entry.forge(draft, bench=bench, seq=seq, times=times, prev=prev))
        prev = entries[-1].digest

    return tuple(entries)


def head_after(entries: Sequence[Entry], head: Head) -> Head:
    """Return the end of the chain once these entries follow ``head``."""
    return Head(entries[-1].seq, entries[-1].digest) if entries else head


def insert(connection: sqlite3.Connection, entries: Sequence[Entry], claims: Iterable[str]) -> None:
    """Write entries and claim names for the first of them; in the transaction at hand, all or none.

    Raises:
        AlreadyRecorded: a name was claimed before; nothing was written.
    """
    names = tuple(dict.fromkeys(claims))
    for name in names:
        claimed = connection.execute("SELECT seq FROM once WHERE name = ?", (name,)).fetchone()
        if claimed is not None:
            raise AlreadyRecorded(name, claimed[0])

    connection.executemany(_INSERT, [_row(entry) for entry in entries])
    connection.executemany("INSERT INTO once VALUES (?, ?, ?)", [(n, entries[0].bench, entries[0].seq) for n in names])


def read(connection: sqlite3.Connection, bench: str, after: int) -> tuple[Entry, ...]:
    """Return the entries of a bench that follow ``after``, in order.

    Raises:
        RecordDamaged: a body is no entry, or does not belong where it stands.
    """
    return tuple(_entry(bench, *row) for row in connection.execute(_READ, (bench, after)))


def walk(connection: sqlite3.Connection, bench: str, kinds: Collection[str]) -> Iterator[Entry]:
    """Yield the entries of a bench of these kinds, in order, one by one.

    Raises:
        RecordDamaged: a body is no entry, or does not belong where it stands.
    """
    marks = ", ".join("?" * len(kinds))
    rows = connection.execute(
        f"SELECT seq, body, prev, digest FROM entry WHERE bench = ? AND kind IN ({marks}) ORDER BY seq",  # noqa: S608 - question marks only
        (bench, *kinds),
    )
    for row in rows:
        yield _entry(bench, *row)


def read_unit(connection: sqlite3.Connection, unit: str) -> tuple[Entry, ...]:
    """Return the entries about one unit, by bench and in chain order.

    Raises:
        RecordDamaged: a body is no entry, or does not belong where it stands.
    """
    rows = connection.execute(
        "SELECT bench, seq, body, prev, digest FROM entry WHERE unit = ? ORDER BY bench, seq", (unit,)
    )
    return tuple(_entry(*row) for row in rows)


def read_lines(connection: sqlite3.Connection, bench: str) -> tuple[Entry, ...]:
    """Return the entries that still count after a restart, in order."""
    kinds = ", ".join(f"'{kind}'" for kind in SURVIVE_A_RESTART)
    rows = connection.execute(
        f"SELECT seq, body, prev, digest FROM entry WHERE bench = ? AND kind IN ({kinds}) ORDER BY seq",  # noqa: S608 - constants of ours
        (bench,),
    )
    return tuple(_entry(bench, *row) for row in rows)


def checked_head(connection: sqlite3.Connection, bench: str, path: Path) -> Head:
    """Return the end of the chain after checking its last link.

    Raises:
        RecordDamaged: the last entry is not what was written.
    """
    last_two = connection.execute(_LAST_TWO, (bench,)).fetchall()
    if not last_two:
        return Head()

    seq, body, prev, digest = last_two[0]
    before = last_two[1][3] if len(last_two) > 1 else GENESIS
    counted = connection.execute("SELECT count(*) FROM entry WHERE bench = ?", (bench,)).fetchone()[0]
    if prev != before or not is_digest(digest, prev, body) or counted != seq:
        raise RecordDamaged(f"{path}: the chain of {bench} is broken at its end, entry {seq}; {mending(path.parent)}")

    return Head(seq, digest)


def is_digest(digest: object, prev: object, body: object) -> bool:
    """Tell whether a stored digest is that of the stored bytes; text in place of bytes is somebody else's work."""
    return isinstance(prev, bytes) and isinstance(body, bytes) and digest == digest_of(prev, body)


def _entry(bench: str, seq: int, body: bytes, prev: bytes, digest: bytes) -> Entry:
    try:
        return Entry.from_stored(bench, seq, body, prev, digest)
    except (ValueError, KeyError, TypeError) as error:
        raise RecordDamaged(
            f"entry {seq} of {bench} cannot be read ({error}): the record is damaged; `benchday record check` says "
            "what is whole, `benchday record restore` puts a copy in its place"
        ) from error


def _row(e: Entry) -> tuple[object, ...]:
    return (
        *(e.bench, e.seq, e.at_us, e.wall_us, e.mono_us, e.kind, e.v),
        *(e.unit, e.station, e.operator, e.body, e.prev, e.digest),
    )
