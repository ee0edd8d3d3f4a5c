"""The folder of a record, and whether it is real or simulated."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from benchday.domain.errors import RecordError
from benchday.record.database import in_our_words
from benchday.record.modes import make_folder


@dataclass(frozen=True, slots=True)
class Place:
    """Where the parts of a record are."""

    folder: Path

    @property
    def journal(self) -> Path:
        """The database of the chains."""
        return self.folder / "journal.db"

    @property
    def lock(self) -> Path:
        """The file whose lock the one writer holds."""
        return self.folder / "journal.lock"

    @property
    def end(self) -> Path:
        """The note of where each chain ends."""
        return self.folder / "journal.end"

    @property
    def personal(self) -> Path:
        """The database of personal data, which can be erased."""
        return self.folder / "personal.db"

    @property
    def archive(self) -> Path:
        """Preserved recordings."""
        return self.folder / "archive"

    @property
    def keys(self) -> Path:
        """Keys for sealing."""
        return self.folder / "keys"

    @property
    def copy(self) -> Path:
        """What a copy of a record says of itself; a record has none."""
        return self.folder / "copy.json"

    @classmethod
    def prepared(cls, folder: Path) -> Self:
        """Make what is missing, for the owner only.

        Raises:
            RecordError: the folder cannot be made.
        """
        place = cls(folder)
        try:
            make_folder(folder, parents=True)
            for inner in (place.archive, place.keys):
                make_folder(inner)
        except OSError as error:
            raise RecordError(
                f"cannot make the record's folder {error.filename}: {error.strerror}; name a folder that can be written"
            ) from error

        return place


def refuse_copy(folder: Path) -> None:
    """Check that nobody takes a copy of a record for the record: two chains would go on from one entry.

    Raises:
        RecordError: it is a copy.
    """
    if Place(folder).copy.exists():
        raise RecordError(
            f"{folder} is a copy of a record and is only read; work goes on in the record itself, or in one restored "
            f"from it: benchday record restore {folder} --record PATH"
        )


def mark(connection: sqlite3.Connection, path: Path, *, simulated: bool, wall_us: int) -> None:
    """Say of a new record what it is, or check that an old one is that.

    Raises:
        RecordError: it is the other.
    """
    with in_our_words(path):
        if connection.execute("SELECT 1 FROM record").fetchone() is None:
            connection.execute("INSERT INTO record VALUES (1, ?, ?)", (int(simulated), wall_us))
    if is_simulated(connection, path) is not simulated:
        words = ("real", "simulated")
        raise RecordError(
            f"{path.parent} is a {words[not simulated]} record and cannot take {words[simulated]} work; "
            "the two never mix: name another folder for the record"
        )


def is_simulated(connection: sqlite3.Connection, path: Path) -> bool:
    """Tell whether the record is of simulated work.

    Raises:
        RecordError: it has never been opened for writing.
    """
    with in_our_words(path):
        row = connection.execute("SELECT simulated FROM record").fetchone()
    if row is None:
        raise RecordError(f"{path} does not say whether it is real or simulated; it was never begun properly")

    return bool(row[0])


def record_folder(folder: Path, named: str | None, chosen: Path | None) -> Path:
    """Return where the record of a day is: as chosen, as the day's file names it, or the platform's data folder.

    Args:
        folder: of the day.
        named: ``record`` in day.yaml, relative to the folder.
        chosen: what a command was told.
    """
    if chosen is not None:
        return chosen
    if named is not None:
        return folder / named
    from platformdirs import user_data_path  # noqa: PLC0415 - late: few commands need it

    return user_data_path("benchday", appauthor=False) / "record"
