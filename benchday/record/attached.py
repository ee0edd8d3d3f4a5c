"""A file that a person attaches to an answer, copied into the archive by its digest."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from anyio.to_thread import run_sync

from benchday.domain.errors import InputError
from benchday.domain.seams import Archive

LARGEST_BYTES = 20_000_000
"""Larger than any photo of a display; ours."""
_PIECE = 1 << 18


async def keep_file(archive: Archive, path: str) -> str:
    """Copy a file into the archive and return its SHA-256 (64 hex digits).

    Raises:
        InputError: it is no regular file, cannot be read, is empty or too large; nothing is kept.
        RecordError: the archive cannot take it; nothing is kept.
    """
    data = await run_sync(_read, path)
    incoming = await archive.begin()
    try:
        for start in range(0, len(data), _PIECE):
            await incoming.add(data[start : start + _PIECE])
        return await incoming.finish()
    except BaseException:
        await incoming.abandon()
        raise


def _read(path: str) -> bytes:
    try:
        # Not blocking: opening a pipe or a terminal must not wait for whoever is at its other end.
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        fd = os.open(Path(path).expanduser(), flags)
        try:
            if not stat.S_ISREG(os.fstat(fd).st_mode):
                raise InputError(f"{path} is no file that can be attached; give the path of a photo")
            data = _all_of(fd)
        finally:
            os.close(fd)
    except (OSError, ValueError, RuntimeError) as error:
        raise InputError(f"{path!r} cannot be read: {getattr(error, 'strerror', None) or error}") from error
    if not data:
        raise InputError(f"{path} is empty")
    return data


def _all_of(fd: int) -> bytes:
    data = bytearray()
    while piece := os.read(fd, _PIECE):
        data += piece
        if len(data) > LARGEST_BYTES:
            raise InputError(f"the file is too large to be attached: more than {LARGEST_BYTES // 1_000_000} MB")
    return bytes(data)
