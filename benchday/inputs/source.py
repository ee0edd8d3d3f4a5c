"""Bytes of the files that a person edits, and their digests."""

from __future__ import annotations

import hashlib
from importlib.resources.abc import Traversable

from benchday.domain.errors import Mistake

_READ_AT_ONCE = 1024 * 1024


def digest(data: bytes) -> str:
    """Return the SHA-256 (FIPS 180-4) of a file as read, 64 hex digits."""
    return hashlib.sha256(data).hexdigest()


def read_bytes(path: Traversable, name: str, mistakes: list[Mistake]) -> bytes | None:
    """Return a file's bytes, or note why they cannot be had."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        mistakes.append(Mistake(name, 0, 0, f"a file {name}", "no such file; `benchday new` writes a sample day"))
    except OSError as error:
        mistakes.append(Mistake(name, 0, 0, "a file that can be read", error.strerror or str(error)))
    return None


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
