"""What a copy of a record says of itself, and carrying files over, each whole or not at all."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import socket
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Self

from benchday.domain.errors import RecordDamaged, RecordError, RecordFull
from benchday.record.archive import NO_ROOM, fault_of
from benchday.record.chain import Head
from benchday.record.database import connect_reader, in_our_words
from benchday.record.modes import FILE, make_file, make_folder, sync_folder, write_whole
from benchday.record.place import Place

_MARK = "copy/1"
_PIECE = 1 << 20


@dataclass(frozen=True, slots=True)
class CopyNote:
    """What stands in a copy's ``copy.json``."""

    of: str
    """Path of the record that was copied."""
    host: str
    """Computer that it was copied on."""
    simulated: bool
    made_wall_us: int | None = None
    """When it was whole last, microseconds since 1970 UTC; None: its first making was cut short."""
    ends: Mapping[str, Head] | None = None
    """Bench -> the last entry that it holds."""

    @classmethod
    def of_record(cls, folder: Path, *, simulated: bool) -> Self:
        """Begin the note of a new copy."""
        return cls(str(folder.resolve()), socket.gethostname(), simulated)

    def whole(self, made_wall_us: int, ends: Mapping[str, Head]) -> Self:
        """Return the note of a copy that is whole now."""
        return replace(self, made_wall_us=made_wall_us, ends=ends)

    def save(self, folder: Path) -> None:
        """Write the note into the copy.

        Raises:
            OSError
        """
        told = {
            "benchday": _MARK,
            "of": self.of,
            "host": self.host,
            "simulated": self.simulated,
            "made_wall_us": self.made_wall_us,
            "ends": {b: {"seq": e.seq, "digest": e.digest.hex()} for b, e in (self.ends or {}).items()},
        }
        write_whole(Place(folder).copy, json.dumps(told, indent=1) + "\n")


def read_copy_note(folder: Path) -> CopyNote | None:
    """Return what a copy says of itself; None if the folder is no copy.

    Raises:
        RecordDamaged: its note cannot be read.
    """
    path = Place(folder).copy
    try:
        told: Any = json.loads(path.read_text(encoding="utf-8"))
        ends = {str(b): Head(int(e["seq"]), bytes.fromhex(e["digest"])) for b, e in told["ends"].items()}
        return CopyNote(str(told["of"]), str(told["host"]), bool(told["simulated"]), told["made_wall_us"], ends)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise RecordDamaged(f"{path} cannot be read ({error}); make a copy in another folder") from error


def snapshot(database: Path, to: Path) -> None:
    """Write a database as it stands at one moment into a new file: one file without a log, synced.

    Whoever writes the database meanwhile goes on; what is committed later is not in it.

    Raises:
        RecordDamaged, RecordError: of the database that is read.
        OSError: the new file cannot be written.
    """
    to.unlink(missing_ok=True)
    make_file(to)
    with in_our_words(database), closing(connect_reader(database)) as connection:
        try:
            connection.execute("VACUUM INTO ?", (str(to),))
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN):
                raise OSError(NO_ROOM[0] if code == sqlite3.SQLITE_FULL else 5, str(error), str(to)) from error
            raise
    # SQLite leaves such a file unsynced.
    _sync(to)


def carry(source: Path, to: Path, sha256: str | None = None) -> str | None:
    """Copy a file: synced, read back from the disk, and under its name only when it is whole.

    Args:
        source: the file.
        to: where it shall stand; what stands there is replaced.
        sha256: what the file must hold, if that is known.

    Returns:
        What is wrong with the source, None if it was copied.

    Raises:
        RecordDamaged: the disk does not give back what was written to it.
        OSError: it cannot be written.
    """
    fresh = to.with_name(f"{to.name}.new")
    fresh.unlink(missing_ok=True)
    make_file(fresh)
    try:
        found, wrong = _pour(source, fresh)
        if wrong is None and sha256 is not None and found != sha256:
            wrong = f"is damaged: its digest is {found[:16]}... now"
        if wrong is None:
            if fault_of(fresh, found) is not None:
                raise RecordDamaged(f"the disk at {to.parent} does not give back what was written to it; use another")
            fresh.replace(to)
            sync_folder(to.parent)
    finally:
        fresh.unlink(missing_ok=True)
    return wrong


def _pour(source: Path, to: Path) -> tuple[str, str | None]:
    """Return the digest of what was read, and what is wrong with the source if it cannot be read."""
    digest = hashlib.sha256()
    try:
        reading = source.open("rb")
    except OSError as error:
        return "", f"cannot be read ({error.strerror})"
    with reading, to.open("wb") as writing:
        while True:
            try:
                piece = reading.read(_PIECE)
            except OSError as error:
                return "", f"cannot be read ({error.strerror})"
            if not piece:
                break
            digest.update(piece)
            writing.write(piece)
        writing.flush()
        os.fsync(writing.fileno())
    return digest.hexdigest(), None


def carry_keys(source: Path, to: Path) -> None:
    """Copy what stands in a record's keys/.

    Raises:
        RecordError: one cannot be read.
        OSError: one cannot be written.
    """
    make_folder(to)
    for key in sorted(source.iterdir()) if source.is_dir() else ():
        if not key.is_file() or key.name.endswith(".new"):
            continue
        wrong = carry(key, to / key.name)
        if wrong is not None:
            raise RecordError(f"{key} {wrong}; check the disk, then try again")


def link_or_carry(source: Path, to: Path, sha256: str) -> bool:
    """Let a kept file stand in a second place on the same disk, or copy it; tell whether it is whole there."""
    make_folder(to.parent)
    if fault_of(source, sha256) is not None:
        return False
    try:
        os.link(source, to)
        to.chmod(FILE)
        sync_folder(to.parent)
    except OSError:
        return carry(source, to, sha256) is None
    return True


def _sync(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


@contextmanager
def where_it_goes(folder: Path, otherwise: str) -> Iterator[None]:
    """Say in our words what keeps files from being written below a folder.

    Args:
        folder: below which is written.
        otherwise: how things stand if it fails, as the end of a sentence.

    Raises:
        RecordFull, RecordError
    """
    try:
        yield
    except OSError as error:
        where = error.filename or folder
        if error.errno in NO_ROOM:
            room = shutil.disk_usage(_there(folder)).free
            raise RecordFull(
                f"no room at {where} ({room:,} bytes are free); {otherwise}; make room, then do it again"
            ) from error
        raise RecordError(
            f"cannot write {where}: {error.strerror}; {otherwise}; check the disk and its permissions, then do it again"
        ) from error


def _there(folder: Path) -> Path:
    return next(p for p in (folder, *folder.resolve().parents) if p.exists())
