"""Bringing a journal forward to the schema of this program: numbered files, one transaction each, never backwards."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from benchday.domain.errors import RecordDamaged, RecordError, RecordFull
from benchday.record.database import in_our_words, mending, translated
from benchday.record.modes import make_file


@dataclass(frozen=True, slots=True)
class Migration:
    """One step forward."""

    number: int
    """The schema it leads to, counted from 1."""
    sql: str

    def __post_init__(self) -> None:
        if self.number < 1:
            raise ValueError(f"migrations are counted from 1, got {self.number}")


def shipped() -> tuple[Migration, ...]:
    """Return the migrations that come with the program, in order."""
    folder = resources.files("benchday.record.migrations")
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".sql")), key=lambda f: f.name)
    return tuple(Migration(int(f.name.removesuffix(".sql")), f.read_text(encoding="utf-8")) for f in files)


def schema_of(connection: sqlite3.Connection) -> int:
    """Return the schema's number; 0 for an empty file.

    Raises:
        sqlite3.DatabaseError: the file is no database.
    """
    if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'schema_version'").fetchone():
        return 0

    return int(connection.execute("SELECT coalesce(max(version), 0) FROM schema_version").fetchone()[0])


def refuse_newer(connection: sqlite3.Connection, path: Path, migrations: Sequence[Migration]) -> int:
    """Return the schema's number after checking that these migrations know it.

    Raises:
        RecordError: a newer program wrote the file, or something else did.
    """
    with in_our_words(path):
        has, known = schema_of(connection), max(m.number for m in migrations)
        if has > known:
            raise RecordError(f"{path} has schema {has}, this program knows up to {known}; update benchday")
        if not has and connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone():
            raise RecordError(f"{path} is the database of something else; name another folder for the record")

    return has


def migrate(connection: sqlite3.Connection, path: Path, migrations: Sequence[Migration]) -> bool:
    """Apply what is missing; tell whether a file that existed before was changed.

    Such a file is copied beside itself first, and examined afterwards.

    Raises:
        RecordError: a newer program wrote it; or it could not be brought forward, and is as it was.
        RecordDamaged: it is not whole.
    """
    with in_our_words(path):
        has = refuse_newer(connection, path, migrations)
        if has == max(m.number for m in migrations):
            return False
        if has:
            _back_up(connection, path, has)
        for migration in migrations:
            if migration.number > has:
                _apply(connection, path, migration)
        examine(connection, path, "integrity_check")

    return has > 0


def examine(connection: sqlite3.Connection, path: Path, pragma: str) -> None:
    """Have SQLite examine the whole file.

    Raises:
        RecordDamaged: it found something.
    """
    with in_our_words(path):
        said = [row[0] for row in connection.execute(f"PRAGMA {pragma}(5)")]
    if said != ["ok"]:
        raise RecordDamaged(
            f"{path} is damaged: {'; '.join(' '.join(each.split()) for each in said)}; {mending(path.parent)}"
        )


def _back_up(connection: sqlite3.Connection, path: Path, has: int) -> None:
    backup = path.with_name(f"{path.stem}.schema-{has}.db")
    if backup.exists():
        # Left by an attempt that did not succeed; the journal itself is the newer copy.
        backup.unlink()
    # Made before it is filled, so that nobody else can read it meanwhile.
    make_file(backup)
    connection.execute("VACUUM INTO ?", (str(backup),))


def _apply(connection: sqlite3.Connection, path: Path, migration: Migration) -> None:
    step = f"INSERT INTO schema_version (version) VALUES ({migration.number:d});"  # noqa: S608 - a number of ours
    try:
        connection.executescript(f"BEGIN IMMEDIATE;\n{migration.sql}\n{step}\nCOMMIT;")
    except sqlite3.Error as error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        if isinstance(translated(error, path), RecordFull):
            raise
        raise RecordError(
            f"{path} could not be brought to schema {migration.number} ({error}); it is as it was before: "
            "go on with the version of benchday that wrote it, and report this"
        ) from error
