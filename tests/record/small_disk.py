"""A disk that is soon full: a small file system in memory where this user may mount one, else a limit on file sizes."""

from __future__ import annotations

import resource
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def small_disk(at: Path, room_bytes: int) -> Iterator[Path]:
    """Yield a folder in which no more than about ``room_bytes`` find room."""
    at.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={room_bytes}", "none", str(at)]
    if subprocess.run(mount, check=False, capture_output=True).returncode == 0:
        try:
            yield at
        finally:
            subprocess.run(["umount", str(at)], check=True)
        return

    with _no_file_above(room_bytes):
        yield at


@contextmanager
def _no_file_above(room_bytes: int) -> Iterator[None]:
    ours = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room_bytes, ours[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, ours)
        signal.signal(signal.SIGXFSZ, before)
