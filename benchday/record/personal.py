"""Personal data beside the chain: contacts and people's own words, which can be erased while proofs stay valid.

An entry carries only a reference: a random name and a salted SHA-256. Erasing removes text and salt together, so that
the digest in the chain cannot be tried against guesses afterwards. The data has a file of its own, so that copies of
the journal do not carry it along; erased bytes are overwritten (``secure_delete``). Copies made outside this program,
and what the disk itself keeps, are beyond its reach.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import sqlite3
import threading
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from anyio.to_thread import run_sync

from benchday.domain.errors import RecordError
from benchday.record.database import connect_personal, in_our_words, patiently
from benchday.record.lock import FileLock
from benchday.record.place import Place

_TABLE = """
CREATE TABLE IF NOT EXISTS personal (
    id TEXT NOT NULL PRIMARY KEY,
    salt BLOB NOT NULL,
    text TEXT NOT NULL
)
"""


@dataclass(frozen=True, slots=True)
class Reference:
    """What an entry carries in place of personal data."""

    id: str
    """32 random hex digits."""
    digest: str
    """SHA-256(salt, then the text in UTF-8), 64 hex digits."""

    def __post_init__(self) -> None:
        if len(self.id) != 32 or len(self.digest) != 64:
            raise ValueError(f"a reference has 32 and 64 hex digits, got {self.id!r} and {self.digest!r}")

    def as_facts(self) -> dict[str, str]:
        """Return the reference as it stands in an entry."""
        return {"id": self.id, "digest": self.digest}


def salted_digest(salt: bytes, text: str) -> str:
    """Return SHA-256(salt, then the text in UTF-8), 64 hex digits (FIPS 180-4)."""
    return hashlib.sha256(salt + text.encode()).hexdigest()


class Personal:
    """Personal data of one record. Made by ``open_personal``."""

    def __init__(self, path: Path, connection: sqlite3.Connection, parts: ExitStack) -> None:
        self._path, self._connection, self._parts = path, connection, parts
        self._one_at_a_time = threading.Lock()
        self._closed = False

    async def keep(self, text: str) -> Reference:
        """Keep a text; return what an entry may carry of it.

        Raises:
            RecordFull: no room on the disk; nothing was kept.
        """
        name, salt = secrets.token_hex(16), secrets.token_bytes(16)
        await run_sync(self._execute, "INSERT INTO personal VALUES (?, ?, ?)", (name, salt, text))
        return Reference(name, salted_digest(salt, text))

    def look_up(self, name: str) -> str | None:
        """Return the text; None if it was erased or never kept."""
        rows = self._execute("SELECT text FROM personal WHERE id = ?", (name,))
        return str(rows[0][0]) if rows else None

    def proves(self, reference: Reference) -> bool | None:
        """Tell whether the kept text is the one that the reference was made for; None if it was erased."""
        rows = self._execute("SELECT salt, text FROM personal WHERE id = ?", (reference.id,))
        return hmac.compare_digest(salted_digest(*rows[0]), reference.digest) if rows else None

    async def erase(self, name: str) -> bool:
        """Erase text and salt; tell whether there was something to erase."""
        return bool(await run_sync(self._execute, "DELETE FROM personal WHERE id = ? RETURNING id", (name,)))

    async def close(self) -> None:
        """Close and let go of the lock."""
        with self._one_at_a_time:
            self._closed = True
            self._parts.close()

    def _execute(self, sql: str, values: tuple[object, ...]) -> list[tuple[Any, ...]]:
        with self._one_at_a_time, in_our_words(self._path):
            if self._closed:
                raise RecordError("personal data is closed; open it again")
            return patiently(self._path, lambda: self._connection.execute(sql, values).fetchall())


def open_personal(folder: Path, wall_us: int) -> Personal:
    """Open the personal data of the record at ``folder`` for writing.

    Raises:
        RecordHeld: another program has it open; the text says who.
        RecordDamaged, RecordError
    """
    place = Place.prepared(folder)
    with ExitStack() as parts:
        lock = FileLock.take(place.personal.with_suffix(".lock"), wall_us)
        parts.callback(lock.let_go)
        connection = parts.enter_context(closing(connect_personal(place.personal)))
        with in_our_words(place.personal):
            connection.execute(_TABLE)
        return Personal(place.personal, connection, parts.pop_all())
