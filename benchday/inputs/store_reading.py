"""The image store of a day's folder by itself: what the commands about images read and write."""

from __future__ import annotations

import os
import shutil
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from benchday.domain.bench import BenchFile, DayFile
from benchday.domain.errors import InputError, Mistake, MistakesFound
from benchday.domain.releases import ImageList
from benchday.inputs.checked import checked, model_of
from benchday.inputs.day import BENCH, DAY, IMAGES
from benchday.inputs.image_signing import ENDING, ListAsRead
from benchday.inputs.image_store import image_mistakes
from benchday.inputs.playbook_files import Playbooks, read_playbooks
from benchday.inputs.source import plain_bytes, read_bytes
from benchday.inputs.yaml_text import YamlText, read_yaml


@dataclass(frozen=True, slots=True)
class Store:
    """The image store as it stands."""

    day: DayFile
    bench: BenchFile | None
    """None: bench.yaml cannot be read, and ``bench_mistakes`` say why."""
    bench_mistakes: tuple[Mistake, ...]
    folder: Path
    """Of the store itself."""
    file: str
    """Name of the list relative to the day's folder."""
    data: bytes
    """The list's bytes."""
    text: YamlText
    images: ImageList | None
    """None: the list holds mistakes, which its text knows."""
    playbooks: Playbooks

    @property
    def path(self) -> Path:
        """The list."""
        return self.folder / IMAGES

    @property
    def signatures(self) -> Path:
        """The file with its signatures, whether there is one or not."""
        return self.folder / (IMAGES + ENDING)

    def listed(self) -> ListAsRead:
        """Return the list with what stands beside it.

        Raises:
            MistakesFound: the list holds mistakes.
            InputError: its signatures cannot be read.
        """
        if self.images is None:
            raise MistakesFound(tuple(self.text.mistakes))
        signatures = bytes_of(self.signatures) if self.signatures.is_file() else None
        return ListAsRead(self.file, self.data, self.text, self.images, signatures)

    def mistakes(self, coming: Collection[str] = ()) -> list[Mistake]:
        """Return every mistake of the list and its files, as ``validate`` tells them."""
        found = list(self.text.mistakes)
        if self.images is not None:
            found += image_mistakes(self.images, self.text, self.folder, self.playbooks, coming)
        return found

    def with_list(self, data: bytes) -> Store:
        """Return the store as it would stand with other bytes for its list."""
        text = read_yaml(data, self.file)
        images = checked(text, ImageList)
        return Store(
            self.day, self.bench, self.bench_mistakes, self.folder, self.file, data, text, images, self.playbooks
        )


def read_store(folder: Path) -> Store:
    """Read the store of a day's folder; mistakes in the list itself are kept, not raised.

    Raises:
        MistakesFound: day.yaml cannot be read, or there is no list.
    """
    mistakes: list[Mistake] = []
    day = model_of(folder, DAY, DayFile, mistakes)
    if day is None:
        raise MistakesFound(tuple(mistakes))
    file = f"{day.image_store}/{IMAGES}"
    data = read_bytes(folder / file, file, mistakes)
    if data is None:
        raise MistakesFound(tuple(mistakes))
    bench = model_of(folder, BENCH, BenchFile, mistakes)
    bare = Store(
        day, bench, tuple(mistakes), folder / day.image_store, file, data, YamlText(file), None,
        read_playbooks(day.playbooks, folder),
    )  # fmt: skip
    return bare.with_list(data)


LARGEST_IMAGE_BYTES = (1 << 32) - 1
"""Of an image: what a file on a FAT volume can hold at most (Microsoft, FAT specification 1.03; from memory)."""


def bytes_of(path: Path, most: int = LARGEST_IMAGE_BYTES) -> bytes:
    """Read a plain file.

    Raises:
        InputError: it cannot be read.
    """
    try:
        return plain_bytes(path, most)
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror or error}") from error


def put(path: Path, data: bytes, *, replace: bool) -> None:
    """Write a file whole or not at all; what stood there stays until the new bytes are on the disk.

    Args:
        path: of the file.
        data: all its bytes.
        replace: what stands there may be replaced.

    Raises:
        InputError: it cannot be written, or stands there already; nothing was changed.
    """
    path = path.resolve()
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if replace:
            if path.exists():
                shutil.copymode(path, part)
            part.replace(path)
        else:
            _name_new(part, path)
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror or error}; nothing was changed") from error
    finally:
        part.unlink(missing_ok=True)
    _sync_folder(path.parent)


def _name_new(part: Path, path: Path) -> None:
    """Give a written file its name, unless another has it."""
    try:
        path.hardlink_to(part)
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no second names, as memory sticks have
        if path.exists():
            raise
        part.rename(path)


def _sync_folder(folder: Path) -> None:
    """Make the new name last; a system on which a folder cannot be opened sees to that itself."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
