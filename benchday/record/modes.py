"""Who may read a record: its owner alone. Folders are 0700 and files 0600, whatever the umask says."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

FOLDER = 0o700
FILE = 0o600
_OTHERS = 0o077
"""The bits of the group and of everybody else."""


def make_folder(path: Path, *, parents: bool = False) -> None:
    """Make a folder for its owner only; one that is there already is left as it is.

    Raises:
        OSError
    """
    if path.is_dir():
        return
    path.mkdir(mode=FOLDER, parents=parents, exist_ok=True)
    path.chmod(FOLDER)


def make_file(path: Path) -> None:
    """Make an empty file for its owner only; one that is there already is left as it is, and must be writable.

    Raises:
        OSError
    """
    flags = os.O_RDWR | getattr(os, "O_CLOEXEC", 0)
    try:
        fd = os.open(path, flags | os.O_CREAT | os.O_EXCL, FILE)
    except FileExistsError:
        os.close(os.open(path, flags))
        return
    try:
        if hasattr(os, "fchmod"):
            os.fchmod(fd, FILE)
    finally:
        os.close(fd)


def write_whole(path: Path, text: str) -> None:
    """Write a small file for its owner only: synced, and whole or not at all.

    Raises:
        OSError
    """
    fresh = path.with_name(f"{path.name}.new")
    fresh.unlink(missing_ok=True)
    make_file(fresh)
    with fresh.open("w", encoding="utf-8", newline="\n") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk.

    Raises:
        OSError
    """
    if os.name != "posix":
        # Elsewhere a folder cannot be opened; the rename is as durable as the system makes it.
        return

    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def too_open(folder: Path) -> Iterator[tuple[Path, int]]:
    """Yield what others than the owner may enter, read or write, with its mode; the archive's files included."""
    if os.name != "posix":
        return
    for at, _, names in os.walk(folder):
        for path in (Path(at), *(Path(at, name) for name in sorted(names))):
            try:
                mode = stat.S_IMODE(path.lstat().st_mode)
            except FileNotFoundError:
                # Somebody writes here: a file on its way has gone to its place.
                continue
            if mode & _OTHERS and not path.is_symlink():
                yield path, mode


def open_to_others(folder: Path) -> str | None:
    """Say in a sentence that others may look into a record; None if nobody may."""
    found = list(too_open(folder))
    if not found:
        return None
    path, mode = found[0]
    more = f" and {len(found) - 1} more" if len(found) > 1 else ""
    return (
        f"others than its owner may use {path} (mode {mode:04o}){more}: recordings, contacts and keys are meant for "
        f"the owner alone; close it with: chmod -R go= {folder}"
    )
