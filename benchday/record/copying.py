"""Copying a record, while a day runs: whole or not at all, only what the copy lacks, verified.

The journal is taken at one moment; recordings and personal data stand beside it before an entry names them, so what is
copied after that moment holds all that its entries name. The copy's journal takes its place last: a copy that is cut
short is what it was before. What the record itself does not hold whole never replaces what the copy does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from benchday.domain.errors import InputError, RecordDamaged, RecordError
from benchday.record.archive import fault_of, kept_files, place_of
from benchday.record.chain import Head
from benchday.record.checking import Named, named_files
from benchday.record.copies import CopyNote, carry, carry_keys, read_copy_note, snapshot, where_it_goes
from benchday.record.database import connect_reader, in_our_words
from benchday.record.end_note import cut_off, read_note
from benchday.record.lock import FileLock
from benchday.record.modes import make_folder, sync_folder
from benchday.record.place import Place, is_simulated, refuse_copy
from benchday.record.verifying import Walk, walk_chains

LOCK = "copy.lock"
"""Held by the one program that makes or renews a copy."""
FRESH = ".new"
Progress = Callable[[int, int], None]
"""Told how many recordings of how many were looked at."""


@dataclass(frozen=True, slots=True)
class Copied:
    """What a copy holds now."""

    dest: Path
    simulated: bool
    made_wall_us: int
    """Microseconds since 1970 UTC."""
    ends: Mapping[str, Head]
    """Bench -> the last entry in the copy."""
    entries_new: int
    """Entries that it lacked before."""
    recordings: int
    """Files of the archive that it holds."""
    recordings_new: int
    bytes_new: int
    lacking: tuple[str, ...]
    """A sentence for each file that the record itself does not hold whole, nor the copy."""


def copy_record(folder: Path, dest: Path, wall_us: int, progress: Progress = lambda *_: None) -> Copied:
    """Copy the record at ``folder`` to ``dest``, or bring the copy there up to date.

    Raises:
        InputError: ``dest`` holds something else, or lies inside the record.
        RecordError: there is no record; ``dest`` is a copy of another one, or cannot be written.
        RecordDamaged: the record does not prove; the copy stays what it was.
        RecordHeld: another program is at that copy.
    """
    refuse_copy(folder)
    if not Place(folder).journal.is_file():
        raise RecordError(f"there is no record at {folder}: journal.db is missing; check the path")
    _refuse_place(folder, dest)
    with where_it_goes(dest, "the copy is what it was before"):
        make_folder(dest, parents=True)
        lock = FileLock.take(dest / LOCK, wall_us)
        try:
            return _Copying(Place(folder), Place(dest), wall_us, progress).run()
        finally:
            lock.let_go()
            _leave_nothing_of_nothing(dest)


def _leave_nothing_of_nothing(dest: Path) -> None:
    """Remove a folder in which no copy was begun."""
    if [p.name for p in dest.iterdir()] == [LOCK]:
        (dest / LOCK).unlink()
        dest.rmdir()


def _refuse_place(folder: Path, dest: Path) -> None:
    record, copy = folder.resolve(), dest.resolve()
    if record == copy or record in copy.parents or copy in record.parents:
        raise InputError(
            f"{dest} and the record {folder} lie in one another; name a folder elsewhere, best on another disk"
        )
    if dest.exists() and not dest.is_dir():
        raise InputError(f"{dest} is no folder; name a folder for the copy")
    there = {p.name for p in dest.iterdir()} if dest.is_dir() else set()
    if there - {LOCK} and "copy.json" not in there:
        raise InputError(
            f"{dest} holds something else than a copy ({min(there)}); name a new folder, or that of a copy"
        )


class _Copying:
    def __init__(self, record: Place, copy: Place, wall_us: int, progress: Progress) -> None:
        self._record, self._copy, self._wall_us, self._progress = record, copy, wall_us, progress
        self._fresh = copy.folder / f"journal.db{FRESH}"
        self._new: list[int] = []
        """Size of each file that was copied."""

    def run(self) -> Copied:
        """Copy; the fresh journal takes its place last."""
        before = read_copy_note(self._copy.folder)
        try:
            walk, named, simulated = self._take_journal()
            self._refuse_another(before)
            note = before or CopyNote.of_record(self._record.folder, simulated=simulated)
            if before is None:
                note.save(self._copy.folder)
            make_folder(self._copy.archive)
            lacking = self._take_archive(named)
            self._take_personal()
            carry_keys(self._record.keys, self._copy.keys)
            self._fresh.replace(self._copy.journal)
            sync_folder(self._copy.folder)
            note.whole(self._wall_us, walk.heads).save(self._copy.folder)
        finally:
            self._fresh.unlink(missing_ok=True)
        known = {bench: end.seq for bench, end in ((before.ends if before else None) or {}).items()}
        return Copied(
            dest=self._copy.folder,
            simulated=simulated,
            made_wall_us=self._wall_us,
            ends=walk.heads,
            entries_new=sum(end.seq - known.get(bench, 0) for bench, end in walk.heads.items()),
            recordings=sum(1 for _ in kept_files(self._copy.archive)),
            recordings_new=len(self._new),
            bytes_new=sum(self._new),
            lacking=tuple(lacking),
        )

    def _take_journal(self) -> tuple[Walk, list[Named], bool]:
        noted = read_note(self._record.end)
        snapshot(self._record.journal, self._fresh)
        with in_our_words(self._fresh), closing(connect_reader(self._fresh)) as connection:
            if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'entry'").fetchone():
                raise RecordError(f"the record at {self._record.folder} was never begun; check the path")
            walk = walk_chains(connection)
            faults = [*walk.faults, *cut_off(connection, noted)]
            if faults:
                raise RecordDamaged(
                    f"the record {self._record.folder} does not prove: {faults[0]}; nothing was copied: keep the "
                    f"copies that there are, and see `benchday record check {self._record.folder}`"
                )
            return walk, named_files(connection), is_simulated(connection, self._fresh)

    def _refuse_another(self, before: CopyNote | None) -> None:
        """Refuse to replace a copy that knows what this record does not."""
        if before is None or not before.ends:
            return
        with in_our_words(self._fresh), closing(connect_reader(self._fresh)) as connection:
            other = list(cut_off(connection, before.ends))
        if other:
            raise RecordError(
                f"{self._copy.folder} is a copy of {before.of} and holds what this record does not ({other[0]}); it "
                "was left as it is: keep it, and name another folder for this record"
            )

    def _take_archive(self, named: list[Named]) -> list[str]:
        """Copy the files that the copy does not hold whole; return what neither holds."""
        wanted = {n.sha256: n for n in named}
        names = [*dict.fromkeys([*wanted, *(p.name for p in kept_files(self._record.archive))])]
        lacking = []
        for number, sha256 in enumerate(names, 1):
            wrong = self._take_file(sha256)
            if wrong is not None and sha256 in wanted:
                lacking.append(f"{wanted[sha256]} {wrong}")
            self._progress(number, len(names))
        return lacking

    def _take_file(self, sha256: str) -> str | None:
        source, to = place_of(self._record.archive, sha256), place_of(self._copy.archive, sha256)
        if fault_of(to, sha256) is None:
            return None
        if not source.is_file():
            return "is missing"
        make_folder(to.parent)
        wrong = carry(source, to, sha256)
        if wrong is None:
            self._new.append(to.stat().st_size)
        return wrong

    def _take_personal(self) -> None:
        if not self._record.personal.is_file():
            return
        fresh = self._copy.folder / f"personal.db{FRESH}"
        try:
            snapshot(self._record.personal, fresh)
            fresh.replace(self._copy.personal)
        finally:
            fresh.unlink(missing_ok=True)
