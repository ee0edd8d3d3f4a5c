"""Checking a record, or a copy of one, from end to end: does it prove, and if not, where.

Nothing is written, and a day may run meanwhile.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import rfc8785

from benchday.domain.errors import RecordDamaged, RecordError
from benchday.record.archive import fault_of, kept_files, place_of
from benchday.record.chain import Head
from benchday.record.copies import CopyNote, read_copy_note
from benchday.record.database import connect_reader, in_our_words
from benchday.record.end_note import cut_off, read_note
from benchday.record.lock import holder_now
from benchday.record.migrating import examine, refuse_newer, shipped
from benchday.record.modes import open_to_others
from benchday.record.place import Place, is_simulated
from benchday.record.verifying import walk_chains

Progress = Callable[[int, int], None]
_BESIDE = {
    "aside": "was set aside when a copy was restored; remove it when nobody needs to look into it any more",
    "restoring": "was laid out by a restore that did not put it in place; remove it once the record is there",
}
"""Word in the name of a folder beside the record -> what it is."""
_NAMING = (
    "SELECT bench, seq, unit, kind, body FROM entry "
    "WHERE kind IN ('recording_preserved', 'item_asked', 'item_answered') ORDER BY bench, seq"
)


@dataclass(frozen=True, slots=True)
class Named:
    """A file of the archive, and the entry that names it."""

    bench: str
    seq: int
    unit: str
    """Empty where the entry is about no unit."""
    name: str
    """The recording's own name, or what it was attached as."""
    sha256: str

    def __str__(self) -> str:
        unit = f" of unit {self.unit}" if self.unit else ""
        return f"{self.name}{unit} ({self.bench}, entry {self.seq}; archive/{self.sha256[:2]}/{self.sha256})"


@dataclass(frozen=True, slots=True)
class Found:
    """One thing that was found."""

    code: str
    """database, chain, canonical, archive, copy; of what is only worth knowing: open, left over, unnamed, held."""
    where: str
    """Bench and entry, or a path."""
    text: str
    unit: str = ""
    """Serial of the unit concerned, if there is one."""


@dataclass(slots=True)
class CheckedRecord:
    """What a check showed."""

    folder: Path
    copy: CopyNote | None
    simulated: bool | None = None
    """None: it does not say."""
    ends: Mapping[str, Head] = field(default_factory=dict)
    """Bench -> the last entry."""
    recordings: int = 0
    """Files that entries name and the archive holds whole."""
    faults: list[Found] = field(default_factory=list)
    """Why it does not prove, if it does not."""
    notices: list[Found] = field(default_factory=list)
    """Worth knowing, and nothing against it."""


def check_record(folder: Path, progress: Progress = lambda *_: None) -> CheckedRecord:
    """Check everything there is: database, chains, canonical bytes, archive, modes, what was left over.

    Raises:
        RecordError: there is no record, or a newer program wrote it.
    """
    place = Place(folder)
    if not folder.is_dir():
        raise RecordError(f"there is no record at {folder}; check the path")
    checked = CheckedRecord(folder, None)
    named: list[Named] = []
    try:
        checked.copy = read_copy_note(folder)
    except RecordDamaged as damaged:
        checked.faults.append(Found("copy", str(place.copy), str(damaged)))
    try:
        named = _check_journal(place, checked)
    except RecordDamaged as damaged:
        checked.faults.append(Found("database", str(place.journal), str(damaged)))
    _check_archive(place, named, checked, progress)
    _check_personal(place, checked)
    checked.notices += _worth_knowing(place)
    return checked


def _check_journal(place: Place, checked: CheckedRecord) -> list[Named]:
    noted = read_note(place.end) or (checked.copy.ends if checked.copy else None) or {}
    if not place.journal.is_file():
        if checked.copy is not None:
            raise RecordDamaged(f"the making of this copy of {checked.copy.of} was cut short; make it again")
        if noted:
            raise RecordDamaged(f"{place.journal} is missing, although entries were recorded there")
        raise RecordError(f"there is no record at {place.folder}: {place.journal.name} is missing; check the path")
    with in_our_words(place.journal), closing(connect_reader(place.journal)) as connection:
        # One moment of a journal that somebody else may be writing.
        connection.execute("BEGIN")
        examine(connection, place.journal, "integrity_check")
        if not refuse_newer(connection, place.journal, shipped()):
            raise (
                RecordDamaged(f"{place.journal} is empty")
                if noted
                else RecordError(f"the record at {place.folder} was never begun; check the path")
            )
        checked.simulated = is_simulated(connection, place.journal)
        walk = walk_chains(connection)
        checked.ends = walk.heads
        for fault in (*walk.faults, *cut_off(connection, noted)):
            checked.faults.append(Found("chain", fault.split(":", 1)[0], fault))
        checked.faults += _not_canonical(connection)
        return named_files(connection)


def _not_canonical(connection: sqlite3.Connection) -> Iterator[Found]:
    """Yield the bodies that are no canonical JSON (RFC 8785): another program would have hashed other bytes."""
    for bench, seq, body in connection.execute("SELECT bench, seq, body FROM entry ORDER BY bench, seq"):
        try:
            same = rfc8785.dumps(json.loads(body)) == body
        except (ValueError, TypeError, RecursionError):
            same = False
        if not same:
            where = f"{bench}, entry {seq}"
            yield Found("canonical", where, f"{where}: its body is not canonical JSON (RFC 8785)")


def named_files(connection: sqlite3.Connection) -> list[Named]:
    """Return the files of the archive that entries name: recordings, and what was attached to answers.

    Raises:
        sqlite3.Error: the database cannot be read to its end.
    """
    found: list[Named] = []
    asked: dict[tuple[str, str], list[str]] = {}
    for bench, seq, unit, kind, body in connection.execute(_NAMING):
        try:
            facts: dict[str, Any] = json.loads(body)["facts"]
            if kind == "recording_preserved":
                found.append(Named(bench, seq, unit or "", facts["name"], facts["sha256"]))
            elif kind == "item_asked":
                item = facts["item"]
                asked[bench, item["id"]] = [w["name"] for w in item["wanted"] if w["kind"] == "file"]
            else:
                names = [n for n in asked.get((bench, facts["id"]), ()) if facts["value"].get(n)]
                found += [Named(bench, seq, unit or "", n, facts["value"][n]) for n in names]
        except (ValueError, KeyError, TypeError):
            # The walk of the chain tells of a body that is no entry.
            continue
    return [n for n in found if _is_digest(n.sha256)]


def _is_digest(text: object) -> bool:
    return isinstance(text, str) and len(text) == 64 and set(text) <= set("0123456789abcdef")


def _check_archive(place: Place, named: list[Named], checked: CheckedRecord, progress: Progress) -> None:
    wanted: dict[str, list[Named]] = {}
    for file in named:
        wanted.setdefault(file.sha256, []).append(file)
    there = [p.name for p in kept_files(place.archive)]
    names = [*dict.fromkeys([*wanted, *there])]
    unnamed = 0
    for number, sha256 in enumerate(names, 1):
        path = place_of(place.archive, sha256)
        wrong = fault_of(path, sha256)
        if sha256 not in wanted:
            unnamed += 1
            if wrong is not None:
                checked.notices.append(Found("unnamed", str(path), f"{path} {wrong}; no entry names it"))
        elif wrong is None:
            checked.recordings += 1
        else:
            checked.faults += [Found("archive", str(path), f"{file} {wrong}", file.unit) for file in wanted[sha256]]
        progress(number, len(names))
    if unnamed and not checked.faults:
        files = "files" if unnamed > 1 else "file"
        text = f"{unnamed} {files} in the archive that no entry names (kept just before a stop)"
        checked.notices.append(Found("unnamed", str(place.archive), text))


def _check_personal(place: Place, checked: CheckedRecord) -> None:
    if not place.personal.is_file():
        return
    try:
        with in_our_words(place.personal), closing(connect_reader(place.personal)) as connection:
            examine(connection, place.personal, "quick_check")
    except RecordError as error:
        checked.faults.append(Found("database", str(place.personal), str(error)))


def _worth_knowing(place: Place) -> Iterator[Found]:
    holder = holder_now(place.lock)
    if holder is not None:
        yield Found(
            "held", str(place.lock), f"{holder} is writing this record now; what it records meanwhile is not looked at"
        )
    told = open_to_others(place.folder)
    if told is not None:
        yield Found("open", str(place.folder), told)
    left = [] if holder is not None else list(place.archive.glob("incoming/*"))
    for path in (
        *left,
        *place.folder.glob("*.new"),
        *place.folder.glob("*/*.new"),
        *place.folder.glob("archive/*/*.new"),
    ):
        yield Found(
            "left over", str(path), f"{path} was left half written by a program that ended; the next one removes it"
        )
    for path in place.archive.glob("damaged/*"):
        yield Found("left over", str(path), f"{path} had gone bad and was set aside for a whole copy")
    for word, what in _BESIDE.items():
        for path in sorted(place.folder.parent.glob(f"{place.folder.name}.{word}-*")):
            yield Found("left over", str(path), f"{path} {what}")
