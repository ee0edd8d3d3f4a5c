"""End a unit that nobody needs any more: its keeper is a process whose number is in a file."""

import asyncio
import os
import sys
import time
from pathlib import Path

LOOK_EVERY_S = 1.0
GONE_FOR_S = 30.0


def _alive_posix(number: int) -> bool:
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _alive_windows(number: int) -> bool:
    # os.kill would end the process there.
    import ctypes  # noqa: PLC0415

    kernel = ctypes.windll.kernel32  # type: ignore[attr-defined,unused-ignore]
    handle = kernel.OpenProcess(0x00100000, 0, number)  # SYNCHRONIZE
    if not handle:
        return False
    running = kernel.WaitForSingleObject(handle, 0) == 0x102  # WAIT_TIMEOUT
    kernel.CloseHandle(handle)
    return bool(running)


alive = _alive_windows if sys.platform == "win32" else _alive_posix


def keeper_lives(file: Path) -> bool:
    """Say whether the process named in the file is there."""
    try:
        return alive(int(file.read_text(encoding="ascii").split()[0]))
    except (OSError, ValueError, IndexError):
        return False


async def until_keeper_is_gone(file: Path, gone_for_s: float = GONE_FOR_S, look_every_s: float = LOOK_EVERY_S) -> None:
    """Return when the keeper has been gone for some real seconds without another taking its place."""
    seen = time.monotonic()
    while True:
        # Looked at before it is judged: this process may have been stopped, or asleep, for longer than that.
        if keeper_lives(file):
            seen = time.monotonic()
        elif time.monotonic() - seen >= gone_for_s:
            return
        await asyncio.sleep(look_every_s)
