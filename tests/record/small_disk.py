"""A disk that is soon full: a small file system in memory where this user may mount one, else a limit on file sizes."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class SmallDisk:
    """Somewhere with little room."""

    path: Path
    make_room: Callable[[], None]
    """Let there be plenty of room."""


@contextmanager
def small_disk(at: Path, room_bytes: int) -> Iterator[SmallDisk]:
    """Yield a folder in which no more than about ``room_bytes`` find room."""
    at.mkdir()
    if not _mount(at, f"size={room_bytes}"):
        with file_size_limit(at, room_bytes) as disk:
            yield disk
        return

    try:
        yield SmallDisk(at, lambda: _remount(at, "size=64m"))
    finally:
        subprocess.run(["umount", str(at)], check=True)


@contextmanager
def file_size_limit(at: Path, room_bytes: int) -> Iterator[SmallDisk]:
    """Yield a folder while no file may grow beyond ``room_bytes``."""
    at.mkdir(exist_ok=True)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    heard = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room_bytes, before[1]))
    try:
        yield SmallDisk(at, lambda: resource.setrlimit(resource.RLIMIT_FSIZE, before))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, heard)


@contextmanager
def read_only(at: Path, fill: Callable[[Path], None]) -> Iterator[Path]:
    """Yield a folder that was filled and cannot be written any more."""
    at.mkdir()
    mounted = _mount(at, "size=16m")
    if not mounted and os.geteuid() == 0:
        raise RuntimeError("nothing is read-only for root: let root mount a tmpfs, or run the tests as another user")
    try:
        fill(at)
        if mounted:
            _remount(at, "ro")
        else:
            _set_modes(at, 0o500)
        yield at
    finally:
        if mounted:
            subprocess.run(["umount", str(at)], check=True)
        else:
            _set_modes(at, 0o700)


def _set_modes(at: Path, mode: int) -> None:
    for path in (at, *at.rglob("*")):
        path.chmod(mode)


def _mount(at: Path, options: str) -> bool:
    mount = ["mount", "-t", "tmpfs", "-o", options, "none", str(at)]
    try:
        return subprocess.run(mount, check=False, capture_output=True).returncode == 0
    except FileNotFoundError:
        return False


def _remount(at: Path, options: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{options}", str(at)], check=True)
