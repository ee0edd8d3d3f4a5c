"""Walking a record's chains from end to end.

The walk finds whatever was changed, moved or removed between two entries. That entries were cut off at the end, or a
whole chain was made anew, only a seal kept elsewhere can show.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchday.domain.errors import RecordDamaged
from benchday.record.chain import Head, is_digest
from benchday.record.database import connect_reader, in_our_words
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
    heads: dict[str, Head] = {}
    faults: list[str] = []
    with in_our_words(path), closing(connect_reader(path)) as connection:
        for row in connection.execute(_WALK):
            before = heads.get(row[0], Head())
            faults += (f"{row[0]}, entry {row[1]}: {fault}" for fault in _faults(row, before))
            heads[row[0]] = Head(row[1], row[-1])
        faults += _stray_claims(connection)

    return Walk(heads, tuple(faults))


def refuse_broken(folder: Path) -> None:
    """Walk every chain and check that it is whole.

    Raises:
        RecordDamaged: one is not; the text says where.
    """
    faults = verify_chain(folder).faults
    if faults:
        raise RecordDamaged(
            f"the record at {folder} is broken in {len(faults)} places, first {faults[0]}; keep it as it is, "
            "and go on with a backup or a new record"
        )


def _faults(row: tuple[Any, ...], before: Head) -> Iterator[str]:
    seq, (body, prev, digest) = row[1], row[-3:]
    if seq != before.seq + 1:
        yield f"follows entry {before.seq}, so that entries are missing"
    if prev != before.digest:
        yield "does not point at the entry before it" if before.seq else "does not begin the chain"
    if not is_digest(digest, prev, body):
        yield "its digest is not that of its body"

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
