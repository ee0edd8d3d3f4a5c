"""Compiles the shim that lets storage fail, and arms it."""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import subprocess
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path

PARTS = ("", "journal.db", "archive", "personal.db")
"""Texts in the path of a file by which calls are counted; the shim's own list."""
SOURCE = Path(__file__).with_name("storage_shim.c")


class Sort(IntEnum):
    """What goes wrong; the numbers are those of the shim."""

    WRITE = 1
    """A write fails."""
    SHORT = 2
    """A write takes only half of what it was given, which it may."""
    SYNC = 3
    """A sync fails."""
    SLOW = 4
    """A sync takes long."""
    RENAME = 5
    """A rename fails; the file is the one that it would have become."""
    READ = 6
    """A read fails."""
    MAKE = 7
    """Opening to write, or making a folder, fails."""
    COUNT = 8
    """Nothing: the calls are counted."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that goes wrong."""

    sort: Sort
    part: str
    """Text in the path of the file concerned; empty: any below the record."""
    nth: int
    """Which call, counted from 1."""
    lasting: bool
    """It and all that follow."""
    error: int = 0
    """errno."""

    def __str__(self) -> str:
        error = f" {errno.errorcode[self.error]}" if self.error else ""
        on = " and on" if self.lasting else ""
        return f"{self.sort.name.lower()}{error} at {self.part or 'any file'}, call {self.nth}{on}"

    def in_environment(self, under: Path) -> str:
        """Return the text by which a program is armed from its first moment on."""
        part = self.part or "*"
        return f"{self.sort.value}:{self.nth}:{int(self.lasting)}:{self.error}:{part}:{under}"


def compiled(folder: Path) -> Path:
    """Compile the shim into a folder and return it.

    Raises:
        RuntimeError: there is no compiler, or it refuses.
    """
    compiler = shutil.which("gcc")
    if compiler is None:
        raise RuntimeError("gcc is missing: install it (Debian: apt-get install gcc libc6-dev), then run this again")
    shim = folder / "storage_shim.so"
    command = [compiler, "-shared", "-fPIC", "-O1", "-Wall", "-o", str(shim), str(SOURCE), "-ldl"]
    ran = subprocess.run(command, capture_output=True, text=True, check=False)
    if ran.returncode:
        raise RuntimeError(f"gcc refuses {SOURCE.name} (Debian: apt-get install gcc libc6-dev):\n{ran.stderr}")
    return shim


def under_the_shim() -> bool:
    """Tell whether this process runs under the shim."""
    return os.environ.get("LD_PRELOAD", "").endswith("storage_shim.so")


def arm(fault: Fault, under: Path) -> None:
    """Arm the shim that this process runs under."""
    shim = ctypes.CDLL(os.environ["LD_PRELOAD"])
    shim.storage_arm(
        fault.sort.value, str(under).encode(), fault.part.encode(), ctypes.c_long(fault.nth), fault.lasting, fault.error
    )


def failed() -> int:
    """Return how many calls went wrong since the shim was armed."""
    shim = ctypes.CDLL(os.environ["LD_PRELOAD"])
    shim.storage_failed.restype = ctypes.c_long
    return int(shim.storage_failed())


def tally() -> dict[str, int]:
    """Return how many calls were counted, by sort and part."""
    shim = ctypes.CDLL(os.environ["LD_PRELOAD"])
    shim.storage_tally.restype = ctypes.c_long
    return {
        f"{s.name} {part}": int(shim.storage_tally(s.value, part.encode())) for s in Sort for part in PARTS if s < 8
    }
