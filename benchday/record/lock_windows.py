"""Whole-file locks on Windows. Untried: written from the library's documentation, never run on that system.

Windows keeps others from reading a locked range, so the locked byte lies far behind the text that says who holds it.
"""

from __future__ import annotations

import os
import sys

_FAR_BYTE = 1 << 30

if sys.platform == "win32":
    import msvcrt

    def take(fd: int) -> bool:
        """Take the lock without waiting; tell whether it was free."""
        os.lseek(fd, _FAR_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            os.lseek(fd, 0, os.SEEK_SET)

        return True

    def let_go(fd: int) -> None:
        """Give the lock back."""
        os.lseek(fd, _FAR_BYTE, os.SEEK_SET)
        msvcrt.locking(fd, msvcrt.LK_UNLCK, 1)
