"""A drive: the mounted memory of a unit. Nothing here follows a link out of it, or takes another folder for it.

A mount that is pulled leaves its folder behind, on the bench PC's own disk. So the drive is known by the device and
number of its folder as they were when it was opened; where they differ later, the drive is gone.
"""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import stat
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from benchday.domain.errors import Garbled, LinkForbidden, LinkGone, LinkNotFound, Refused, TransferCut

PIECE = 1 << 18
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_BINARY = getattr(os, "O_BINARY", 0)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
MOUNT_FOLDERS = ("/media/*", "/run/media/*", "/media", "/Volumes", "/mnt")
"""Where systems mount what is plugged in: common practice, no source."""


@dataclass(frozen=True, slots=True)
class DriveFile:
    """A regular file on a drive."""

    path: str
    """From the drive's root, names joined by /."""
    bytes: int


class Drive:
    """One mounted drive, for worker threads: every call blocks."""

    def __init__(self, root: Path) -> None:
        """Open the drive that is mounted here.

        Raises:
            LinkNotFound, LinkForbidden: it is not there, or may not be read.
        """
        self.root = root
        try:
            found = root.stat()
            next(root.iterdir(), None)
        except PermissionError:
            raise LinkForbidden(f"{root} may not be read by this user") from None
        except OSError:
            raise LinkNotFound(
                f"no drive is mounted at {root}: is the unit on, plugged in, and its drive mounted?"
            ) from None
        if not stat.S_ISDIR(found.st_mode):
            raise LinkNotFound(f"{root} is no folder; expected the folder at which the unit's drive is mounted")
        self._is = (found.st_dev, found.st_ino)

    def there(self) -> bool:
        """Tell whether the drive that was opened is still mounted."""
        try:
            found = self.root.stat()
        except OSError:
            return False
        return (found.st_dev, found.st_ino) == self._is

    def check_there(self) -> None:
        """Do nothing while the drive is mounted.

        Raises:
            LinkGone
        """
        if not self.there():
            raise LinkGone(f"the drive at {self.root} is gone: it was unmounted, pulled, or its unit went off")

    def free_bytes(self) -> int:
        """Return the room that is left on it."""
        with self._in_our_words():
            return shutil.disk_usage(self.root).free

    def place(self, path: str) -> Path:
        """Return where something on the drive is; no part of the way may be a link.

        Raises:
            Garbled: one is.
        """
        found = self.root
        for part in path.split("/"):
            found /= part
            if found.is_symlink():
                raise Garbled(f"{path} on the drive is a link, or leads over one; it is not followed")
        return found

    def files(self, folder: str, suffixes: Sequence[str], most: int) -> tuple[DriveFile, ...]:
        """List the regular files of one folder that end in one of the suffixes, in the order of their names.

        Raises:
            Garbled: there are more than ``most``, or a name cannot be shown.
            LinkGone
        """
        ends = tuple(s.casefold() for s in suffixes)
        found: list[DriveFile] = []
        place = self.place(folder)
        with self._in_our_words():
            if not place.is_dir():
                self.check_there()
                return ()
            with os.scandir(place) as listed:
                for one in listed:
                    if not one.name.casefold().endswith(ends) or not one.is_file(follow_symlinks=False):
                        continue
                    if not one.name.isprintable() or len(one.name) > 200:
                        raise Garbled(f"the drive lists {one.name[:60]!r}, which is no name of a recording")
                    if len(found) >= most:
                        raise Garbled(f"{folder} on the drive holds more than {most} recordings; look at the drive")
                    found.append(DriveFile(f"{folder}/{one.name}", one.stat(follow_symlinks=False).st_size))
        self.check_there()
        return tuple(sorted(found, key=lambda f: f.path))

    def read_small(self, path: str, most_bytes: int) -> bytes:
        """Read a small file.

        Raises:
            Garbled: it is missing, larger, or no file.
            LinkGone
        """
        fd = self.open(path)
        try:
            with self._in_our_words():
                data = os.read(fd, most_bytes + 1)
        finally:
            os.close(fd)
        if len(data) > most_bytes:
            raise Garbled(f"{path} on the drive is larger than {most_bytes} bytes")
        return data

    def open(self, path: str) -> int:
        """Open a regular file to be read; the caller closes it.

        Raises:
            Garbled: it is missing, or no regular file.
            LinkGone
        """
        place = self.place(path)
        with self._in_our_words():
            fd = os.open(place, os.O_RDONLY | _BINARY | _NO_LINK)
        if not stat.S_ISREG(os.fstat(fd).st_mode):
            os.close(fd)
            raise Garbled(f"{path} on the drive is no file")
        return fd

    def read(self, fd: int) -> bytes:
        """Read on; empty at the end.

        Raises:
            LinkGone, Garbled
        """
        with self._in_our_words():
            return os.read(fd, PIECE)

    @contextmanager
    def _in_our_words(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            self.check_there()
            raise Garbled(f"the drive cannot be read: {error.strerror or error}") from error


class Putting:
    """A file on its way onto a drive: under another name until all of it is there."""

    def __init__(self, drive: Drive, path: str) -> None:
        """Make the unfinished file.

        Raises:
            Refused: it cannot be made; nothing has changed on the drive.
            LinkGone
        """
        self._drive = drive
        try:
            self._place = drive.place(path)
        except Garbled as link:
            raise Refused("write", "a link", f"{link}; nothing was written") from link
        self._part = self._place.with_name(f".{self._place.name}.part")
        self.sent = 0
        try:
            # Left behind by a copy that was cut; a link of this name is removed, never written through.
            self._part.unlink(missing_ok=True)
            self._fd = os.open(self._part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o644)
        except OSError as error:
            drive.check_there()
            raise Refused("write", "cannot be put there", f"{path}: {error.strerror}; nothing was written") from error

    def add(self, piece: bytes) -> None:
        """Write the next bytes.

        Raises:
            TransferCut: no room is left.
            LinkGone
        """
        with self._cut():
            view = memoryview(piece)
            while view:
                view = view[os.write(self._fd, view) :]
        self.sent += len(piece)
        self._drive.check_there()

    def name_it(self) -> None:
        """Sync it and give it its name; whoever waits for it on the unit may take it at once.

        Raises:
            TransferCut: it cannot be synced.
            LinkGone
        """
        with self._cut():
            os.fsync(self._fd)
            self._close()
            self._drive.check_there()
            self._part.replace(self._place)
            _sync_folder(self._place.parent)

    def finish(self, sha256: str) -> None:
        """Sync, give it its name, and read it back from the drive.

        Raises:
            TransferCut: it cannot be synced, or what is read back is not what was written.
            LinkGone
        """
        self.name_it()
        with self._cut():
            found = _digest_from_disk(self._place)
        self._drive.check_there()
        if found != sha256:
            raise TransferCut(
                "the drive does not give back what was written to it; the unit is not restarted", self.sent
            )

    def abandon(self) -> None:
        """Leave nothing unfinished behind, as far as that can be done."""
        self._close()
        with suppress(OSError):
            self._part.unlink(missing_ok=True)

    def _close(self) -> None:
        if self._fd >= 0:
            fd, self._fd = self._fd, -1
            os.close(fd)

    @contextmanager
    def _cut(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            self._drive.check_there()
            why = "the drive is full" if error.errno in _NO_ROOM else error.strerror or str(error)
            raise TransferCut(f"the image is not whole on the drive: {why}", self.sent) from error


def find_drive(where: str, label: str | None, folders: Sequence[str] = MOUNT_FOLDERS) -> Drive:
    """Open the drive of a place: a folder, or the one volume of that label under the usual folders.

    Raises:
        LinkNotFound: there is none, or more than one.
        LinkForbidden
    """
    if where and not where.startswith("label="):
        return Drive(Path(where))
    label = where.removeprefix("label=") or label
    if not label or label in (".", "..") or set(label) & set("/\\*?["):
        raise LinkNotFound(f"no drive can be found by the label {label!r}; name the folder at which it is mounted")
    found = [p for folder in folders for p in Path("/").glob(f"{folder.lstrip('/')}/{label}") if p.is_dir()]
    if len(found) != 1:
        several = ", ".join(map(str, found)) or "none"
        raise LinkNotFound(
            f"expected one mounted volume labelled {label}, found {several}: is the unit on and plugged in?"
        )
    return Drive(found[0])


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":  # elsewhere a folder cannot be opened
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def digest_on(drive: Drive, path: str) -> str:
    """Return the SHA-256 of a file as the drive gives it back now; empty if it cannot be read."""
    try:
        return _digest_from_disk(drive.place(path))
    except (OSError, Garbled):
        return ""


def _digest_from_disk(path: Path) -> str:
    fd = os.open(path, os.O_RDONLY | _BINARY | _NO_LINK)
    with os.fdopen(fd, "rb") as file:
        # Where the system can forget what it holds in memory, the bytes come from the drive.
        if hasattr(os, "posix_fadvise"):
            os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        return hashlib.file_digest(file, "sha256").hexdigest()
