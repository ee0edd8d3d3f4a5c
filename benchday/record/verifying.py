"""Walking a record's chains from end to end.

The walk finds whatever was changed, moved or removed between two entries. That entries were cut off at the end shows
beside the note of it, if that is there; that a whole chain was made anew only a seal kept elsewhere can show.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchday.domain.errors import RecordDamaged
from benchday.record.chain import Head, is_digest
from benchday.record.database import connect_reader, in_our_words, mending
from benchday.record.end_note import cut_off, read_note
from benchday.record.migrating import examine, schema_of
from benchday.record.place import Place

_COLUMNS = ("bench", "seq", "at_us", "wall_us", "mono_us", "kind", "v", "unit", "station", "operator")
_WALK = f"SELECT {', '.join(_COLUMNS)}, body, prev, digest FROM entry ORDER BY bench, seq"  # noqa: S608 - names of ours
_STRAY = (
    "SELECT name, bench, seq FROM once WHERE NOT EXISTS "
    "(SELECT 1 FROM entry WHERE entry.bench = once.bench AND entry.seq = once.seq)"
)


@dataclass(frozen=True, slots=True)
class Walk:
    """What walking all chains showed."""

    heads: Mapping[str, Head]
    """Bench -> the end of its chain."""
    faults: tuple[str, ...]
    """One sentence for each fault, in chain order."""

    @property
    def whole(self) -> bool:
        """Tell whether every entry is what was written."""
        return not self.faults


def verify_chain(folder: Path) -> Walk:
    """Walk every chain of the record at ``folder``: links, digests, and the columns against the hashed bodies.

    Raises:
        RecordError: there is no record.
        RecordDamaged: the database cannot be read to its end.
    """
    path = Place(folder).journal
    with in_our_words(path), closing(connect_reader(path)) as connection:
        return walk_chains(connection)


def walk_chains(connection: sqlite3.Connection) -> Walk:
    """Walk every chain of a database.

    Raises:
        sqlite3.Error: it cannot be read to its end.
    """
    heads: dict[str, Head] = {}
    faults: list[str] = []
    for row in connection.execute(_WALK):
        before = heads.get(row[0], Head())
        faults += (f"{row[0]}, entry {row[1]}: {fault}" for fault in _faults(row, before))
        heads[row[0]] = _end(row, before)
    faults += _stray_claims(connection)
    return Walk(heads, tuple(faults))


def refuse_damaged(folder: Path) -> None:
    """Check, before anything is written, that a record is whole as far as going on with it needs.

    That is: the database as SQLite knows it, each link and digest of each chain, and that no chain ends before the note
    of its end. Columns beside the body and the archive are left to ``check_record``. It reads only: what is damaged
    must stay as it is, and the last writer that closes a database folds a damaged log away.

    Raises:
        RecordDamaged: it is not whole; the text says where, and what to do.
    """
    place = Place(folder)
    noted = read_note(place.end)
    if not place.journal.is_file():
        if noted:
            raise RecordDamaged(f"{place.journal} is missing, although entries were recorded there; {mending(folder)}")
        return
    with in_our_words(place.journal), closing(connect_reader(place.journal)) as connection:
        examine(connection, place.journal, "quick_check")
        begun = schema_of(connection) > 0
        faults = [*_broken_links(connection), *cut_off(connection, noted)] if begun else []
        if noted and not begun:
            faults = ["it is empty, although entries were recorded there"]
    _refuse(place.journal, faults)


def _broken_links(connection: sqlite3.Connection) -> Iterator[str]:
    heads: dict[str, Head] = {}
    for row in connection.execute("SELECT bench, seq, body, prev, digest FROM entry ORDER BY bench, seq"):
        before = heads.get(row[0], Head())
        yield from (f"{row[0]}, entry {row[1]}: {fault}" for fault in _loose(row, before))
        heads[row[0]] = _end(row, before)


def _refuse(path: Path, faults: Sequence[str]) -> None:
    if faults:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        raise RecordDamaged(f"{path} does not prove: {faults[0]}{more}; {mending(path.parent)}")


def refuse_broken(folder: Path) -> None:
    """Walk every chain and check that it is whole.

    Raises:
        RecordDamaged: one is not; the text says where.
    """
    _refuse(Place(folder).journal, verify_chain(folder).faults)


def _end(row: tuple[Any, ...], before: Head) -> Head:
    """Return where the chain stands after this row; one without a number is passed over."""
    return Head(row[1], row[-1]) if isinstance(row[1], int) else before


def _loose(row: tuple[Any, ...], before: Head) -> Iterator[str]:
    seq, (body, prev, digest) = row[1], row[-3:]
    if not isinstance(seq, int):
        yield "it has no number"
        return
    if seq != before.seq + 1:
        yield f"follows entry {before.seq}, so that entries are missing"
    if prev != before.digest:
        yield "does not point at the entry before it" if before.seq else "does not begin the chain"
    if not is_digest(digest, prev, body):
        yield "its digest is not that of its body"


def _faults(row: tuple[Any, ...], before: Head) -> Iterator[str]:
    yield from _loose(row, before)
    body = row[-3]
    try:
        told = json.loads(body)
        differing = [name for name, value in zip(_COLUMNS, row, strict=False) if told[name] != value]
    except (ValueError, TypeError, KeyError):
        yield "its body is no entry"
        return
    for name in differing:
        yield f"the column {name} differs from the body"


def _stray_claims(connection: sqlite3.Connection) -> Iterator[str]:
    for name, bench, seq in connection.execute(_STRAY):
        yield f"{bench}: the claimed name {name} belongs to entry {seq}, which is not there"
