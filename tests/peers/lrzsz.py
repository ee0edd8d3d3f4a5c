"""Programs of lrzsz, strangers to our code, on the far end of a pseudo-terminal."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.devices.ptys import raw_pty

LIMIT_S = 60


def program(name: str) -> str:
    """Find a program of lrzsz."""
    found = shutil.which(name) or shutil.which(f"l{name}")
    if found is None:
        pytest.fail(f"{name} is missing: install lrzsz (Debian: apt-get install lrzsz)")

    return found


@contextmanager
def started(far: int, name: str, *arguments: str, folder: Path | None = None) -> Iterator[subprocess.Popen[bytes]]:
    """Run a program of lrzsz on a descriptor, in a folder."""
    command = [program(name), "-q", *arguments]
    with subprocess.Popen(command, stdin=far, stdout=far, stderr=subprocess.DEVNULL, cwd=folder) as running:
        try:
            yield running
        finally:
            running.kill()


@contextmanager
def peer(name: str, *arguments: str, folder: Path | None = None) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """Run a program of lrzsz on the far end of a pseudo-terminal; yields the near end's path."""
    with raw_pty() as (far, path), started(far, name, *arguments, folder=folder) as running:
        yield path, running
