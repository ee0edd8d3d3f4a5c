"""The file lock of a record's one writer, with who holds it written inside.

The operating system's lock decides, not the text: a program that was killed leaves its text behind and no lock. The
file is never removed, since a lock on a file that somebody else has just replaced would hold nobody off.
"""

from __future__ import annotations

import importlib
import json
import os
import socket
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Protocol, Self, cast

from benchday.domain.errors import RecordError, RecordHeld
from benchday.record.modes import make_file

LOCKS = {"posix": "benchday.record.lock_posix", "nt": "benchday.record.lock_windows"}
"""Kind of operating system -> the module that locks there."""


class _Locks(Protocol):
    def take(self, fd: int) -> bool: ...
    def let_go(self, fd: int) -> None: ...


@dataclass(frozen=True, slots=True)
class Holder:
    """Who holds a lock."""

    pid: int
    host: str
    program: str
    since_wall_us: int
    """Wall clock, microseconds since 1970 UTC."""

    @classmethod
    def ourselves(cls, wall_us: int) -> Self:
        """Describe the running program."""
        return cls(os.getpid(), socket.gethostname(), Path(sys.argv[0] or "python").name, wall_us)

    @classmethod
    def told(cls, text: bytes) -> Self | None:
        """Read what a holder has written; None if that cannot be read (it may be just about to write it)."""
        try:
            return cls(**json.loads(text))
        except (ValueError, TypeError, RecursionError):
            return None

    def runs(self) -> bool:
        """Tell whether a program of that number runs on this computer; a text may outlive whoever wrote it."""
        if self.host != socket.gethostname():
            return True
        try:
            os.kill(self.pid, 0)
        except ProcessLookupError:
            return False
        except OSError:
            return True
        return True

    def __str__(self) -> str:
        return f"{self.program} (process {self.pid} on {self.host})"


def holder_now(path: Path) -> Holder | None:
    """Return who holds a lock, by its text and without touching the lock; None if nobody seems to."""
    try:
        holder = Holder.told(path.read_bytes())
    except OSError:
        return None
    # On Windows a signal of 0 would end the program that is asked about.
    return holder if holder is not None and os.name == "posix" and holder.runs() else None


class FileLock:
    """Held from ``take`` to ``let_go``, or until the process ends, however it ends."""

    def __init__(self, fd: int, locks: _Locks) -> None:
        self._fd, self._locks = fd, locks

    @classmethod
    def take(cls, path: Path, wall_us: int) -> Self:
        """Take the lock now or not at all.

        Raises:
            RecordHeld: somebody else has it; the text says who.
            RecordError: the file cannot be made.
        """
        locks = cast("_Locks", importlib.import_module(LOCKS[os.name]))
        try:
            make_file(path)
            fd = os.open(path, os.O_RDWR | getattr(os, "O_CLOEXEC", 0))
        except OSError as error:
            raise RecordError(
                f"cannot write {path}: {error.strerror}; make the folder writable for this user"
            ) from error
        if not locks.take(fd):
            holder = Holder.told(os.pread(fd, 4096, 0) if hasattr(os, "pread") else os.read(fd, 4096))
            os.close(fd)
            who = str(holder) if holder else "another program that has not said its name"
            raise RecordHeld(f"{path.parent} is being written by {who}; end that program first, or only read")

        lock = cls(fd, locks)
        lock._write(json.dumps(asdict(Holder.ourselves(wall_us))).encode())
        return lock

    def let_go(self) -> None:
        """Give the lock back."""
        self._write(b"")
        self._locks.let_go(self._fd)
        os.close(self._fd)

    def _write(self, text: bytes) -> None:
        try:
            os.ftruncate(self._fd, 0)
            os.lseek(self._fd, 0, os.SEEK_SET)
            os.write(self._fd, text)
        except OSError:
            # A full disk must not keep anybody from opening the record: the lock holds without its text.
            return
