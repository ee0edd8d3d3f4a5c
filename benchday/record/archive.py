"""Preserved recordings as files named by their SHA-256: ``archive/ab/<64 hex digits>``, whole or not at all.

A file on its way stands in ``archive/incoming`` under a random name. It gets its own name only when all of it is on the
disk and has been read back.
"""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import anyio
import anyio.lowlevel
from anyio.to_thread import run_sync

from benchday.domain.errors import RecordDamaged, RecordError, RecordFull
from benchday.record.modes import make_file, make_folder, sync_folder
from benchday.record.place import Place

NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
"""How a system says that a disk, or somebody's share of it, takes no more."""
_CHUNK_BYTES = 1 << 20
"""Bytes gathered before a worker thread writes them, so that small pieces of a slow line cost no thread each."""


class FileArchive:
    """The archive of one record."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._placing = threading.Lock()

    async def begin(self) -> FileIncoming:
        """Begin to take one file.

        Raises:
            RecordError: the archive cannot be written.
        """
        return await run_sync(FileIncoming, self._root, self._placing)

    async def holds(self, sha256: str) -> bool:
        """Re-read the kept file and tell whether it is whole."""
        return await run_sync(is_whole, place_of(self._root, sha256), sha256)

    def room_bytes(self) -> int:
        """Return the free room where the archive is kept, in bytes."""
        with _in_our_words(self._root):
            return shutil.disk_usage(self._root).free


def open_archive(folder: Path) -> FileArchive:
    """Open the archive of the record at ``folder``; what a killed program left half written is removed.

    Only the program that holds the record's journal may do so.

    Raises:
        RecordError: the archive cannot be written.
    """
    root = Place.prepared(folder).archive
    with _in_our_words(root):
        incoming = root / "incoming"
        make_folder(incoming)
        for leftover in incoming.iterdir():
            leftover.unlink()

    return FileArchive(root)


class FileIncoming:
    """A recording on its way into the archive."""

    def __init__(self, root: Path, placing: threading.Lock) -> None:
        self._root, self._placing = root, placing
        self._path = root / "incoming" / secrets.token_hex(16)
        self._hash = hashlib.sha256()
        self._gathered = bytearray()
        self._ended = False
        with _in_our_words(root):
            make_folder(self._path.parent)
            make_file(self._path)
            self._fd = os.open(self._path, os.O_WRONLY | getattr(os, "O_BINARY", 0))

    async def add(self, data: bytes) -> None:
        """Take the next bytes.

        Raises:
            RecordFull: no room on the disk; nothing is left behind.
        """
        self._refuse_if_ended()
        self._gathered += data
        if len(self._gathered) >= _CHUNK_BYTES:
            await self._run(self._write_gathered)
        else:
            await anyio.lowlevel.checkpoint()

    async def finish(self) -> str:
        """Sync, name by digest, re-read and compare; return the SHA-256 (64 hex digits).

        Raises:
            RecordFull: no room on the disk; nothing is left behind.
            RecordDamaged: the disk does not give back what it was given; nothing is left behind.
        """
        self._refuse_if_ended()
        await self._run(self._keep)
        return self._hash.hexdigest()

    async def abandon(self) -> None:
        """Leave nothing behind."""
        with anyio.CancelScope(shield=True):
            await run_sync(self._drop)

    async def _run(self, work: Callable[[], None]) -> None:
        def or_drop() -> None:
            try:
                with _in_our_words(self._root):
                    work()
            except BaseException:
                self._drop()
                raise

        await run_sync(or_drop)

    def _write_gathered(self) -> None:
        with memoryview(self._gathered) as view:
            written = 0
            while written < len(view):
                written += os.write(self._fd, view[written:])
            self._hash.update(view)
        self._gathered.clear()

    def _keep(self) -> None:
        self._write_gathered()
        os.fsync(self._fd)
        os.close(self._fd)
        self._fd = -1
        sha256 = self._hash.hexdigest()
        if not is_whole(self._path, sha256):
            raise RecordDamaged(
                f"the disk at {self._root} does not give back what was written to it; nothing was kept: "
                "preserve again, and replace that disk"
            )

        kept = place_of(self._root, sha256)
        make_folder(kept.parent)
        # Equal recordings may come in at once: the copy of one is not to be taken for one that has gone bad.
        with self._placing:
            self._take_place(kept, sha256)
        for folder in (kept.parent, self._root):
            sync_folder(folder)
        if not is_whole(kept, sha256):
            raise RecordDamaged(f"{kept} is not whole right after it was kept; preserve again, and replace that disk")
        self._ended = True

    def _take_place(self, kept: Path, sha256: str) -> None:
        if is_whole(kept, sha256):
            self._path.unlink()
            return
        if kept.exists():
            # A copy that has gone bad since: set aside for whoever wants to know why, and replaced.
            aside = self._root / "damaged"
            make_folder(aside)
            kept.replace(aside / f"{sha256}-{secrets.token_hex(4)}")
        self._path.replace(kept)

    def _drop(self) -> None:
        self._ended = True
        self._gathered.clear()
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1
        with suppress(OSError):
            self._path.unlink(missing_ok=True)

    def _refuse_if_ended(self) -> None:
        if self._ended:
            raise RecordError("this recording was finished or abandoned; begin another")


def place_of(root: Path, sha256: str) -> Path:
    """Return where an archive keeps the file with that digest.

    Raises:
        ValueError: it is none.
    """
    if not _is_name(sha256):
        raise ValueError(f"a digest is 64 lower-case hex digits, got {sha256!r}")

    return root / sha256[:2] / sha256


def is_whole(path: Path, sha256: str) -> bool:
    """Read a kept file from the disk and tell whether it is what its name says."""
    return fault_of(path, sha256) is None


def fault_of(path: Path, sha256: str) -> str | None:
    """Read a kept file from the disk; return what is wrong with it, None if it is whole."""
    try:
        with path.open("rb") as file:
            # Where the system can forget what it holds in memory, the bytes come from the disk.
            if hasattr(os, "posix_fadvise"):
                os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
            found = hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        return "is missing"
    except OSError as error:
        return f"cannot be read ({error.strerror})"
    return None if found == sha256 else f"is damaged: its digest is {found[:16]}... now"


def kept_files(root: Path) -> Iterator[Path]:
    """Yield the files of an archive that are named by a digest, in the order of their names."""
    for folder in sorted(root.glob("[0-9a-f][0-9a-f]")):
        yield from sorted(p for p in folder.iterdir() if _is_name(p.name) and p.name.startswith(folder.name))


def _is_name(text: str) -> bool:
    return len(text) == 64 and set(text) <= set("0123456789abcdef")


@contextmanager
def _in_our_words(root: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in NO_ROOM:
            raise RecordFull(
                f"nothing was kept: no room at {root} ({error.strerror}); make room, then preserve again"
            ) from error
        where = f" ({error.filename2 or error.filename})" if error.filename else ""
        raise RecordError(
            f"cannot use the archive at {root}: {error.strerror or error}{where}; nothing was kept: check the disk and "
            "its permissions, then do it again"
        ) from error
