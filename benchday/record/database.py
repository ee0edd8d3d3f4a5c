"""SQLite connections, and its errors in our words.

One connection writes and checkpoints; all others are opened ``mode=ro`` and never checkpoint.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TypeVar

from benchday.domain.errors import RecordDamaged, RecordError, RecordFull, RecordHeld
from benchday.logs import logger
from benchday.record.modes import make_file

T = TypeVar("T")

_PRIMARY = 0xFF
"""The low byte of an extended result code is the code itself."""

_LOCKED = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_FULL_OR_FAILING = (sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_SHMSIZE)
"""SQLite tells a quota or a limit on file sizes by these, not by SQLITE_FULL."""

LOCKED_TRIES = 60
"""How often, once a second, what another program has locked is tried again before that is an error."""
_SHORTLY = "busy_timeout=1000"
"""Milliseconds that SQLite itself waits in a try; then somebody is told."""

_READING = ("wal_autocheckpoint=0", "schema_version")
"""The second one reads from the file, so that what cannot be read is told at once."""


def connect_writer(path: Path) -> sqlite3.Connection:
    """Open the one connection that writes the journal.

    Raises:
        RecordError
    """
    _make(path)
    return _opened(str(path), path, ("journal_mode=WAL", "synchronous=FULL", _SHORTLY))


def connect_personal(path: Path) -> sqlite3.Connection:
    """Open the one connection to personal data: erased bytes are overwritten, and no log keeps older ones.

    Raises:
        RecordError
    """
    _make(path)
    return _opened(str(path), path, ("journal_mode=TRUNCATE", "synchronous=FULL", "secure_delete=ON", _SHORTLY))


def connect_reader(path: Path) -> sqlite3.Connection:
    """Open a connection that cannot write and never checkpoints.

    Raises:
        RecordError: there is no record.
    """
    if not path.is_file():
        raise RecordError(f"there is no record at {path.parent}: {path.name} is missing; check the path")

    uri = f"{path.resolve().as_uri()}?mode=ro"
    try:
        return _opened(uri, path, _READING)
    except RecordError as error:
        if not _on_a_disk_that_cannot_be_written(error, path):
            raise

    # Nobody can be writing there, and no log waits to be read: SQLite may do without its shared memory.
    return _opened(f"{uri}&immutable=1", path, _READING)


def _on_a_disk_that_cannot_be_written(error: RecordError, path: Path) -> bool:
    code = getattr(error.__cause__, "sqlite_errorcode", 0) & _PRIMARY
    log = path.with_name(f"{path.name}-wal")
    waiting = log.exists() and log.stat().st_size > 0
    return code in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY) and not waiting


def _make(path: Path) -> None:
    # Made here and not by SQLite, so that only its owner can read it; SQLite gives its other files the same mode.
    try:
        make_file(path)
    except OSError as error:
        raise RecordError(f"cannot write {path}: {error.strerror}; make file and folder writable") from error


def _opened(name: str, path: Path, pragmas: Sequence[str]) -> sqlite3.Connection:
    with in_our_words(path), ExitStack() as unless_whole:
        connection = sqlite3.connect(
            name, uri=name.startswith("file:"), isolation_level=None, check_same_thread=False, timeout=5
        )
        unless_whole.callback(connection.close)
        for pragma in pragmas:
            connection.execute(f"PRAGMA {pragma}").fetchall()
        unless_whole.pop_all()

    return connection


def mending(folder: Path) -> str:
    """Say what to do about a record that is damaged, as the end of a sentence."""
    return (
        f"leave it as it is, check the disk; `benchday record restore COPY --record {folder}` sets it aside for a copy"
    )


@contextmanager
def in_our_words(path: Path) -> Iterator[None]:
    """Translate SQLite's errors into ours.

    Raises:
        RecordFull, RecordDamaged, RecordHeld, RecordError
    """
    try:
        yield
    except sqlite3.Error as error:
        raise translated(error, path) from error


def patiently(path: Path, work: Callable[[], T]) -> T:
    """Write, and wait while another program has the database locked, or reads what must not change under it.

    Raises:
        sqlite3.Error: it is still locked after ``LOCKED_TRIES``, or something else failed.
    """
    for number in range(1, LOCKED_TRIES):
        try:
            return work()
        except sqlite3.OperationalError as error:
            if getattr(error, "sqlite_errorcode", 0) & _PRIMARY not in _LOCKED:
                raise
            if number in (1, 10, 30):
                logger().warning("another program has the record locked: waiting for it", file=str(path))
    return work()


def is_failed_sync(error: BaseException) -> bool:
    """Tell whether the disk did not keep what it was told to keep."""
    return getattr(error, "sqlite_errorcode", 0) in (sqlite3.SQLITE_IOERR_FSYNC, sqlite3.SQLITE_IOERR_DIR_FSYNC)


def translated(error: sqlite3.Error, path: Path) -> RecordError:
    """Say an error of SQLite in our words, with what to do."""
    code = getattr(error, "sqlite_errorcode", 0)
    primary = code & _PRIMARY
    if primary == sqlite3.SQLITE_FULL or code in _FULL_OR_FAILING:
        return RecordFull(
            f"nothing was recorded: the disk takes no more at {path.parent} ({error}); make room, then do it again; if "
            "there is room, check the disk"
        )
    if primary in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT) or "decode to UTF-8" in str(error):
        return RecordDamaged(f"{path} is not a whole database ({error}); {mending(path.parent)}")
    if primary in _LOCKED:
        return RecordHeld(
            f"another program has {path} locked ({error}), and it was waited for; nothing was recorded: end that "
            "program, then do it again"
        )
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return RecordError(f"cannot write {path} ({error}); make the file and its folder writable for this user")

    return RecordError(f"the record {path} cannot be used ({error}); check the disk, then do it again")
