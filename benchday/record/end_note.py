"""A note of where each chain ends, beside the journal: what was recorded last, in case the database forgets it.

A chain of which the end was cut off is a whole chain. A damaged write-ahead log does just that: SQLite takes what
stands before the damage for all there is, and says nothing. The note is written after each commit and never synced. It
may lag behind the journal and is never ahead of it: a note that knows more than the journal proves a loss. It is no
second copy of the truth (nothing is ever computed from it), and no proof against somebody who means harm.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path

from benchday.record.chain import Head
from benchday.record.modes import make_file


class EndNote:
    """Kept up by the one program that writes the journal."""

    def __init__(self, path: Path) -> None:
        """Open the note.

        Raises:
            OSError
        """
        self._ends = dict(read_note(path))
        make_file(path)
        self._fd = os.open(path, os.O_WRONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0))

    def tell(self, bench: str, head: Head) -> None:
        """Note where a bench's chain ends. A disk that cannot take it keeps the older note, which is true as well."""
        self._ends[bench] = head
        ends = json.dumps({name: [end.seq, end.digest.hex()] for name, end in self._ends.items()}, sort_keys=True)
        # It never gets shorter, so the older text needs no cutting off.
        line = f"{_digest(ends)} {ends}\n".encode()
        with suppress(OSError):
            os.lseek(self._fd, 0, os.SEEK_SET)
            while line:
                line = line[os.write(self._fd, line) :]

    def close(self) -> None:
        """Let go of the file."""
        os.close(self._fd)


def read_note(path: Path) -> Mapping[str, Head]:
    """Return bench -> the end of its chain as noted; nothing where there is no note, or none that can be read."""
    try:
        digest, _, ends = path.read_text(encoding="utf-8").rstrip("\n").partition(" ")
        if digest != _digest(ends):
            # Half an older and half a newer note: a disk may write so, and it proves nothing.
            return {}
        told = json.loads(ends)
        return {str(bench): Head(int(seq), bytes.fromhex(digest)) for bench, (seq, digest) in told.items()}
    except (OSError, ValueError, TypeError, AttributeError):
        return {}


def _digest(ends: str) -> str:
    return hashlib.sha256(ends.encode()).hexdigest()


def cut_off(connection: sqlite3.Connection, noted: Mapping[str, Head]) -> Iterator[str]:
    """Yield a sentence for each chain that ends before its note, or elsewhere."""
    for bench, head in noted.items():
        row = connection.execute("SELECT digest FROM entry WHERE bench = ? AND seq = ?", (bench, head.seq)).fetchone()
        if row is None:
            last = connection.execute("SELECT coalesce(max(seq), 0) FROM entry WHERE bench = ?", (bench,)).fetchone()
            yield f"{bench}: the chain ends at entry {last[0]}, but entry {head.seq} was recorded: its end is cut off"
        elif row[0] != head.digest:
            yield f"{bench}, entry {head.seq}: it is not the one that was recorded"
