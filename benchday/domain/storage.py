"""What a playbook says of a unit whose memory shows as a drive: where on it recordings, image and version are."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, Field

from benchday.domain.words import Expected, FileModel

_LONGEST = 200


def _on_the_drive(text: str) -> str:
    """Return a path if it stays on the drive, else raise Expected."""
    parts = text.split("/")
    if not all(parts) or {".", ".."} & set(parts) or set(text) & set('\\:*?"<>|') or not text.isprintable():
        raise Expected("a path on the drive, like UPDATE/NAME.BIN: names joined by /, without . and .. and *")
    return text


def _label(text: str) -> str:
    if text in (".", "..") or set(text) & set("/\\:*?") or not text.isprintable():
        raise Expected("the label of a volume, a name without / and *")
    return text


def _suffix(text: str) -> str:
    if not text.startswith(".") or set(text) & set("/\\*?") or not text.isprintable():
        raise Expected("a suffix with its dot, like .rnx")
    return text


DrivePath = Annotated[str, Field(min_length=1, max_length=_LONGEST), AfterValidator(_on_the_drive)]
"""A path on the drive; never leads out of it."""
Label = Annotated[str, Field(min_length=1, max_length=32), AfterValidator(_label)]
Suffix = Annotated[str, Field(min_length=2, max_length=20), AfterValidator(_suffix)]
FieldName = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f:]+$")]


class Form(StrEnum):
    """How the file that says who the unit is is written."""

    LINES = "lines"
    """``name: value``, one a line"""
    JSON = "json"
    """one object; values are texts, numbers or lists of texts"""


class Names(FileModel):
    """What the unit's own file calls it; none where it does not say."""

    serial: FieldName = "serial"
    model: FieldName = "model"
    release: FieldName = "release"
    hardware: FieldName | None = None
    options: FieldName | None = None
    """Separated by semicolons, or a list."""
    term: FieldName | None = None
    free: FieldName | None = None
    """Bytes that there is room for, where the unit knows better than the drive's own figure."""


class About(FileModel):
    """The small file in which the unit says who it is and what runs on it."""

    file: DrivePath
    form: Form = Form.LINES
    names: Names = Names()


class Kept(FileModel):
    """Where recordings are: the files of one folder that end alike, none of the folders in it."""

    folder: DrivePath
    suffixes: Annotated[tuple[Suffix, ...], Field(min_length=1)]


class Storage(FileModel):
    """A playbook's section ``storage``."""

    label: Label | None = None
    """Label of the volume, by which the drive is found under the usual folders."""
    about: About | None = None
    """None: a person says who the unit is and what runs on it."""
    recordings: tuple[Kept, ...] = ()
    most_files: Annotated[int, Field(ge=1, le=100_000)] = 1000
    """More recordings than this are taken for a mistake."""
    most_bytes: Annotated[int, Field(ge=1)] = 64_000_000_000
    """And so are more bytes than this, of all together."""
    image: DrivePath
    """Where the image goes, under the name that the unit expects."""
    spare_bytes: Annotated[int, Field(ge=0)] = 65_536
    """Room that must be left on the drive beside the image."""
    proof: DrivePath | None = None
    """Folder in which a simulated unit answers whether it is one; it is asked beside its drive."""
