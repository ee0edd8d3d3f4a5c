"""Bytes of the files that a person edits, and their digests."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
from importlib.resources.abc import Traversable
from pathlib import Path

from benchday.domain.errors import Mistake

LARGEST_BYTES = 64 * 1024 * 1024
"""Of any file that a person edits; each kind has its own bound below this."""
_READ_AT_ONCE = 1024 * 1024
_AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
"""A pipe that nobody writes into is opened at once, and refused, instead of being waited for."""


def digest(data: bytes) -> str:
    """Return the SHA-256 (FIPS 180-4) of a file as read, 64 hex digits."""
    return hashlib.sha256(data).hexdigest()


def read_bytes(path: Traversable, name: str, mistakes: list[Mistake]) -> bytes | None:
    """Return a file's bytes, or note why they cannot be had."""
    try:
        return plain_bytes(path)
    except FileNotFoundError:
        mistakes.append(Mistake(name, 0, 0, f"a file {name}", "no such file; `benchday new` writes a sample day"))
    except OSError as error:
        mistakes.append(Mistake(name, 0, 0, "a file that can be read", error.strerror or str(error)))
    return None


def plain_bytes(path: Traversable, most: int = LARGEST_BYTES) -> bytes:
    """Return the bytes of a plain file. A link is followed; a pipe, a device or a folder at its end is not read.

    Args:
        path: of the file.
        most: bytes that it may hold.

    Raises:
        OSError: it cannot be read, is no plain file, or holds more.
    """
    if not isinstance(path, Path):  # part of the program, in a form that is no file
        return path.read_bytes()
    fd = os.open(path, os.O_RDONLY | _AT_ONCE)
    try:
        if not stat.S_ISREG(os.fstat(fd).st_mode):
            raise OSError(errno.EINVAL, "it is no plain file, but a folder, a pipe or a device", str(path))
        with os.fdopen(fd, "rb", closefd=False) as file:
            data = file.read(most + 1)
    finally:
        os.close(fd)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"it is larger than {most} bytes", str(path))
    return data


def size_and_digest(path: Traversable) -> tuple[int, str]:
    """Read a file through and return its bytes and SHA-256 (64 hex digits).

    Raises:
        OSError: it cannot be read.
    """
    size, sha256 = 0, hashlib.sha256()
    with path.open("rb") as file:
        while part := file.read(_READ_AT_ONCE):
            size += len(part)
            sha256.update(part)

    return size, sha256.hexdigest()
