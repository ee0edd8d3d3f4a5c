"""Which other program has a port, as far as the system tells.

Two signs: a lock file with the program's number in it (Filesystem Hierarchy Standard 3.0, section 5.9), and an open
file of a process that this user may look at (proc(5), /proc/PID/fd). Neither is sure: a lock file may have outlived its
program, and other users' processes do not show their files.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from benchday.devices.ports.roots import HERE, Roots
from benchday.domain.clean import clean

_MOST_PROCESSES = 5000
_LOCK_BYTES = 64


def holder_of(device: str, roots: Roots = HERE) -> str | None:
    """Return who has a port open or locked, in words like ``minder (process 4711)``; None if nobody shows."""
    pid = _by_lock_file(device, roots) or _by_open_file(device, roots)
    return f"{_name_of(pid, roots)} (process {pid})" if pid is not None else None


def holder_before_opening(device: str, roots: Roots = HERE) -> str | None:
    """Return who has a port that would open all the same: a second reader would take bytes from the first.

    Not asked of a pseudo-terminal, whose other end keeps both open.
    """
    real = os.path.realpath(device)
    return None if real.startswith("/dev/pts/") else holder_of(real, roots)


def _by_lock_file(device: str, roots: Roots) -> int | None:
    names = {Path(device).name, Path(os.path.realpath(device)).name}
    for name in sorted(names):
        with suppress(OSError, ValueError, IndexError):
            with (roots.locks / f"LCK..{name}").open("rb") as file:
                pid = int(file.read(_LOCK_BYTES).split()[0])
            if pid != os.getpid() and (roots.proc / str(pid)).is_dir():
                return pid
        # An empty or binary file is of no form that the standard knows; it holds nobody off.
    return None


def _by_open_file(device: str, roots: Roots) -> int | None:
    wanted = os.path.realpath(device)
    try:
        processes = [p for p in roots.proc.iterdir() if p.name.isdigit()][:_MOST_PROCESSES]
    except OSError:
        return None
    for process in processes:
        if process.name != str(os.getpid()) and _has_open(process, wanted):
            return int(process.name)
    return None


def _has_open(process: Path, wanted: str) -> bool:
    try:
        return any(os.readlink(fd) == wanted for fd in (process / "fd").iterdir())  # noqa: PTH115
    except OSError:
        return False


def _name_of(pid: int, roots: Roots) -> str:
    try:
        return clean((roots.proc / str(pid) / "comm").read_text(encoding="utf-8", errors="replace")).strip()
    except OSError:
        return "a program"
