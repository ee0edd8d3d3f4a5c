"""Whole-file locks where there is ``fcntl``.

``flock`` belongs to the opened file, so a second opening in the same process is held off too; locks of the ``lockf``
kind would let it in.
"""

from __future__ import annotations

import fcntl


def take(fd: int) -> bool:
    """Take the lock without waiting; tell whether it was free."""
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False

    return True


def let_go(fd: int) -> None:
    """Give the lock back."""
    fcntl.flock(fd, fcntl.LOCK_UN)
