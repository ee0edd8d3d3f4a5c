"""Where the operating system tells of ports, so that tests can have it told by a tree of their own."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Roots:
    """Folders of a Linux system; of no account elsewhere."""

    sys: Path = Path("/sys")
    proc: Path = Path("/proc")
    dev: Path = Path("/dev")
    locks: Path = Path("/var/lock")
    """Lock files of programs that keep to the Filesystem Hierarchy Standard 3.0, section 5.9."""


HERE = Roots()
"""This computer."""
