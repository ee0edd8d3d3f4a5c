"""The unit's own log for outside eyes: one JSON object a line, synced before the host can see the effect."""

import json
import os
import time
from pathlib import Path

ENDS_WITHIN_S = 5.0
"""Real seconds for a process that was told to end: whoever serves its unit next may come before it has."""


class UnitLog:
    """`log.jsonl` of one unit, only ever appended to, by one process at a time."""

    def __init__(self, path: Path) -> None:
        """Open it; raises BlockingIOError if another process goes on serving the unit."""
        self._fd = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        _lock(self._fd, path)
        self._end_broken_line(path)

    def _end_broken_line(self, path: Path) -> None:
        """A process killed while it wrote may have left half a line: end it, so that the next stands alone."""
        with path.open("rb") as written:
            written.seek(0, os.SEEK_END)
            if written.tell():
                written.seek(-1, os.SEEK_END)
                if written.read(1) != b"\n":
                    os.write(self._fd, b"\n")

    def write(self, what: str, **facts: object) -> None:
        """Append one line and sync it; returns when it is durable."""
        line = json.dumps({"at_us": time.time_ns() // 1000, "what": what, **facts}, ensure_ascii=False)
        os.write(self._fd, line.encode() + b"\n")
        os.fsync(self._fd)

    def close(self) -> None:
        """Close the file."""
        os.close(self._fd)


def _lock(fd: int, path: Path) -> None:
    try:
        import fcntl  # noqa: PLC0415 does not exist on every platform
    except ImportError:
        return
    given_up = time.monotonic() + ENDS_WITHIN_S
    while True:
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > given_up:
                raise BlockingIOError(f"another process serves the unit of {path.parent}; end that one first") from None
            time.sleep(0.05)
        else:
            return
