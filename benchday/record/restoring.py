"""Putting a copy in the place of a damaged or lost record. Nothing is deleted: what stood there is set aside, renamed.

The new record is laid out beside the old one, whole and verified, before anything is renamed. A record that is whole
and holds what the copy does not is never replaced; of one that is whole, only files that its archive has lost are put
back.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from benchday.domain.errors import InputError, RecordDamaged, RecordError
from benchday.record.archive import fault_of, kept_files, place_of
from benchday.record.chain import Head, is_digest
from benchday.record.checking import CheckedRecord, Found, check_record
from benchday.record.copies import carry, carry_keys, link_or_carry, snapshot, where_it_goes
from benchday.record.database import connect_reader
from benchday.record.end_note import read_note
from benchday.record.lock import FileLock
from benchday.record.modes import make_folder, sync_folder
from benchday.record.place import Place, refuse_copy

Progress = Callable[[int, int], None]
_DATABASE = ("journal.db", "personal.db")


@dataclass(frozen=True, slots=True)
class Missing:
    """An entry of the old record that the copy does not hold."""

    bench: str
    seq: int
    kind: str
    unit: str | None
    wall_us: int


@dataclass(slots=True)
class Restoring:
    """What a restore found, and what it does."""

    copy: CheckedRecord
    folder: Path
    """Where the record belongs."""
    laid_out: Path | None = None
    """The new record, still beside its place; None: nothing is to be put in place."""
    aside: Path | None = None
    """Where the old one goes, or went."""
    missing: list[Missing] = field(default_factory=list)
    """Entries that can still be read in the old record and are not in the copy, in chain order."""
    known_ends: Mapping[str, int] = field(default_factory=dict)
    """Bench -> number of the last entry that is known to have been recorded, by the old record or its note."""
    put_back: list[str] = field(default_factory=list)
    """Digests of files that were put back into the archive of a record that is whole otherwise."""
    kept_besides: int = 0
    """Files of the old archive that the copy lacks and the new record keeps all the same."""

    def entries_missing(self, bench: str) -> int:
        """Return how many entries of a bench are known to be lost."""
        held = self.copy.ends.get(bench, Head()).seq
        return max(0, self.known_ends.get(bench, 0) - held)

    def put_in_place(self) -> None:
        """Rename: the old record aside, the new one to its place.

        Raises:
            RecordError: neither was renamed, or the old one is back in its place, or the text says where both are.
        """
        if self.laid_out is None:
            return
        aside = _free_name(self.folder, "aside") if self.folder.exists() else None
        with where_it_goes(self.folder, "nothing was restored, the old record is where it was"):
            if aside is not None:
                self.folder.rename(aside)
            try:
                self.laid_out.rename(self.folder)
            except OSError as error:
                if aside is not None:
                    self._back_from(aside, error)
                raise
        self.aside = aside
        with where_it_goes(self.folder, "the copy is in its place, but whether that outlives a power cut is not known"):
            sync_folder(self.folder.parent)

    def _back_from(self, aside: Path, why: OSError) -> None:
        """Put the old record back, because the new one cannot take its place.

        Raises:
            RecordError: that cannot be done either; both are whole, and the text says where they are.
        """
        try:
            aside.rename(self.folder)
        except OSError as error:
            new, self.laid_out = self.laid_out, None
            raise RecordError(
                f"the disk renames nothing any more ({why.strerror}): the restored record is whole at {new}, the old "
                f"one at {aside}, and nothing is at {self.folder}; check the disk, then rename {new} to {self.folder}"
            ) from error


@contextmanager
def restoring(copy: Path, folder: Path, wall_us: int, progress: Progress = lambda *_: None) -> Iterator[Restoring]:
    """Lay a new record out beside the old one; whoever calls adds what must stand in it, then puts it in place.

    The old record's lock is held meanwhile. What was laid out and not put in place is removed at the end.

    Args:
        copy: of the record.
        folder: of the record.
        wall_us: the computer's clock.
        progress: told how many of the copy's recordings were looked at.

    Raises:
        InputError: they are the same folder, or lie in one another.
        RecordDamaged: the copy does not prove; nothing was changed.
        RecordHeld: a program writes the record.
        RecordError: the record is whole and knows what the copy does not; nothing was changed.
    """
    one, other = copy.resolve(), folder.resolve()
    if one == other or one in other.parents or other in one.parents:
        raise InputError(
            f"{copy} and the record {folder} lie in one another; name the copy, and with --record the record"
        )
    refuse_copy(folder)
    if not Place(copy).journal.is_file() and not Place(copy).copy.is_file():
        raise InputError(f"there is no copy at {copy}; name the folder of one")
    checked = check_record(copy, progress)
    if checked.faults:
        raise RecordDamaged(
            f"{copy} does not prove and was not used: {checked.faults[0].text}; nothing was changed: try another copy"
        )
    lock = FileLock.take(folder / Place(folder).lock.name, wall_us) if folder.is_dir() else None
    made = Restoring(checked, folder)
    try:
        _lay_out(made)
        yield made
    finally:
        if made.laid_out is not None and made.laid_out.exists():
            shutil.rmtree(made.laid_out, ignore_errors=True)
        if lock is not None:
            lock.let_go()


def _lay_out(made: Restoring) -> None:
    old = Place(made.folder)
    standing = _standing(old)
    if standing is not None and not _damaged(standing):
        _refuse_newer(made, standing)
        if standing.ends == made.copy.ends:
            _put_back(made, standing)
            return
    made.known_ends, made.missing = _known(old, made.copy)
    fresh = _free_name(made.folder, "restoring")
    with where_it_goes(fresh, "nothing was restored, the old record is where it was"):
        made.laid_out = fresh
        _copy_of_copy(Place(made.copy.folder), Place(fresh))
        made.kept_besides = sum(
            link_or_carry(path, place_of(Place(fresh).archive, path.name), path.name)
            for path in (kept_files(old.archive) if old.archive.is_dir() else ())
            if not place_of(Place(fresh).archive, path.name).exists()
        )
    again = check_record(fresh)
    if again.faults or again.ends != made.copy.ends:
        why = again.faults[0].text if again.faults else "it ends elsewhere than the copy"
        raise RecordDamaged(
            f"what was laid out at {fresh} does not prove ({why}); nothing was changed: use another disk"
        )


def _standing(old: Place) -> CheckedRecord | None:
    """Check what stands where the record belongs; None if nothing does."""
    if not old.journal.exists() and not read_note(old.end):
        return None
    try:
        return check_record(old.folder)
    except RecordDamaged as damaged:
        return CheckedRecord(old.folder, None, faults=[Found("database", str(old.journal), str(damaged))])


def _damaged(standing: CheckedRecord) -> bool:
    return any(fault.code in ("database", "chain", "canonical") for fault in standing.faults)


def _refuse_newer(made: Restoring, standing: CheckedRecord) -> None:
    if standing.simulated is not made.copy.simulated:
        raise RecordError(f"{made.folder} is whole, and of the other sort (real or simulated); nothing was changed")
    with closing(connect_reader(Place(made.copy.folder).journal)) as connection:
        for bench, end in standing.ends.items():
            held = made.copy.ends.get(bench, Head())
            if end.seq > held.seq:
                raise RecordError(
                    f"{made.folder} is whole and newer than the copy: it holds entries {held.seq + 1} to {end.seq} of "
                    f"{bench}, which {made.copy.folder} lacks; nothing was changed"
                )
            row = connection.execute(
                "SELECT digest FROM entry WHERE bench = ? AND seq = ?", (bench, end.seq)
            ).fetchone()
            if row is None or row[0] != end.digest:
                raise RecordError(
                    f"{made.folder} is whole and goes another way than the copy from some entry of {bench} on: "
                    f"{made.copy.folder} is of another record; nothing was changed"
                )


def _put_back(made: Restoring, standing: CheckedRecord) -> None:
    """Put back what the archive of a whole record has lost; a file that has gone bad is set aside."""
    source, to = Place(made.copy.folder).archive, Place(made.folder).archive
    for name in dict.fromkeys(Path(f.where).name for f in standing.faults if f.code == "archive"):
        kept = place_of(to, name)
        with where_it_goes(kept, "what was put back before stays"):
            make_folder(kept.parent)
            if kept.exists():
                make_folder(to / "damaged")
                kept.replace(to / "damaged" / f"{name}-{time.time_ns():x}")
            if carry(place_of(source, name), kept, name) is None:
                made.put_back.append(name)


def _known(old: Place, copy: CheckedRecord) -> tuple[dict[str, int], list[Missing]]:
    """Return what is known of the old record's ends, and the entries that can still be read and the copy lacks."""
    ends = {bench: end.seq for bench, end in read_note(old.end).items()}
    missing: list[Missing] = []
    with suppress(RecordError, sqlite3.Error), closing(connect_reader(old.journal)) as connection:
        _refuse_another(connection, old, copy)
        # From the end backwards: the last pages are the likeliest to be whole, and the copy holds the first ones.
        rows = connection.execute(
            "SELECT bench, seq, kind, unit, wall_us, body, prev, digest FROM entry ORDER BY bench DESC, seq DESC"
        )
        for bench, seq, kind, unit, wall_us, *stored in rows:
            held = copy.ends.get(bench, Head()).seq
            if isinstance(seq, int) and seq > held and is_digest(stored[2], stored[1], stored[0]):
                missing.append(Missing(bench, seq, kind, unit, wall_us))
                ends[bench] = max(ends.get(bench, 0), seq)
    return ends, sorted(missing, key=lambda m: (m.bench, m.seq))


def _refuse_another(connection: sqlite3.Connection, old: Place, copy: CheckedRecord) -> None:
    first = connection.execute("SELECT bench, seq, body, prev, digest FROM entry WHERE seq = 1").fetchall()
    with closing(connect_reader(Place(copy.folder).journal)) as copied:
        for bench, seq, body, prev, digest in first:
            row = copied.execute("SELECT digest FROM entry WHERE bench = ? AND seq = ?", (bench, seq)).fetchone()
            if row is not None and row[0] != digest and is_digest(digest, prev, body) and json.loads(body):
                raise InputError(f"{copy.folder} is a copy of another record than {old.folder}; nothing was changed")


def _copy_of_copy(source: Place, to: Place) -> None:
    make_folder(to.folder, parents=True)
    make_folder(to.archive)
    for name in _DATABASE:
        if (source.folder / name).is_file():
            snapshot(source.folder / name, to.folder / name)
    carry_keys(source.keys, to.keys)
    for path in kept_files(source.archive):
        kept = place_of(to.archive, path.name)
        make_folder(kept.parent)
        wrong = carry(path, kept, path.name)
        if wrong is not None and fault_of(path, path.name) is None:
            raise RecordError(f"{path} {wrong}; nothing was changed: check the disk of the copy, then do it again")
    sync_folder(to.folder)


def _free_name(folder: Path, word: str) -> Path:
    stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime())
    names = (f"{folder.name}.{word}-{stamp}{more}" for more in ("", *(f"-{n}" for n in range(2, 1000))))
    return next(path for name in names if not (path := folder.parent / name).exists())
