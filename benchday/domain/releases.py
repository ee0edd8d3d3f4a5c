"""Releases and images: versions and their order, the image list, what may be entered from where."""

from __future__ import annotations

import re
from datetime import date
from functools import total_ordering
from typing import Annotated, Self

from pydantic import Field, model_validator

from benchday.domain.words import Expected, FileModel, IsoDate, Name, Sha256

_VERSION = re.compile(r"([0-9]{1,6}(?:\.[0-9]{1,6}){0,5})(?:-([0-9a-z]{1,20}))?")


@total_ordering
class Version:
    """A dotted numeric version; missing fields count as 0, so 2.9 < 2.10 and 2.1 == 2.1.0."""

    __slots__ = ("_key", "text")

    def __init__(self, text: str) -> None:
        match = _VERSION.fullmatch(text)
        if match is None:
            raise ValueError(f"a version is numbers joined by dots, like 2.10, got {text!r}")

        fields = [int(part) for part in match[1].split(".")]
        while fields and fields[-1] == 0:
            fields.pop()
        self.text = text
        # A trial release (2.10-trial1) sorts before the bare version.
        self._key = (tuple(fields), match[2] is None, match[2] or "")

    @property
    def suffix(self) -> str:
        """What follows the numbers; with one it has a place in the order only if the store lists it as a trial."""
        return self._key[2]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Version) and self._key == other._key

    def __lt__(self, other: Version) -> bool:
        return self._key < other._key

    def __hash__(self) -> int:
        return hash(self._key)

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        return f"Version({self.text!r})"


def _check_version(text: str) -> str:
    Version(text)
    return text


VersionText = Annotated[str, Field(pattern=rf"^{_VERSION.pattern}$", examples=["2.10"])]
"""A version as a person writes it: quoted, because YAML would read 2.10 as the number 2.1."""


class Image(FileModel):
    """One image in the store and the release it holds."""

    file: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$")]
    """Name of the file in the image store."""
    release: VersionText
    issued: IsoDate
    """Day on which the release was issued (ISO 8601)."""
    sha256: Sha256
    bytes: Annotated[int, Field(gt=0)]
    trial: bool = False
    """A trial release, whose version has a suffix (2.10-trial1): it comes before the bare version, and no unit gets it
    unless it is pinned to it."""
    models: Annotated[tuple[Name, ...], Field(min_length=1)]
    hardware: tuple[Name, ...] = ()
    """Hardware revisions it suits; empty means all."""
    enter_from: VersionText | None = None
    """Oldest release from which it may be entered directly."""
    through: tuple[VersionText, ...] = ()
    """Releases that a unit below them must pass through first."""
    back_to: VersionText | None = None
    """Oldest release to which a unit on this one may return; none means no way back."""
    source: str
    """Where the image came from."""
    approved_by: str
    """Who approved it for the shop."""

    @model_validator(mode="after")
    def _suffix_means_trial(self) -> Self:
        if Version(self.release).suffix and not self.trial:
            raise Expected("a release without a suffix, or trial: true beside it", found=self.release, at=("release",))
        if self.trial and not Version(self.release).suffix:
            raise Expected("a suffix on the release of a trial, like 2.10-trial1", found=self.release, at=("release",))
        return self

    @property
    def version(self) -> Version:
        """The release as a comparable version."""
        return Version(self.release)

    @property
    def issued_on(self) -> date:
        """The day of issue."""
        return date.fromisoformat(self.issued)

    def suits(self, model: str, hardware: str | None) -> bool:
        """Tell whether the image is for this model and hardware revision (None: not known yet)."""
        return model in self.models and (hardware is None or not self.hardware or hardware in self.hardware)

    def clashes(self, other: Image) -> bool:
        """Tell whether some unit could take both images as the same release."""
        if self.version != other.version or not set(self.models) & set(other.models):
            return False
        return not self.hardware or not other.hardware or bool(set(self.hardware) & set(other.hardware))


class ImageList(FileModel):
    """images.yaml: what the image store holds."""

    sequence: Annotated[int, Field(ge=1)] | None = None
    """Number of this list, which rises with every change; it is no release. Needed for a signed list."""
    expires: IsoDate | None = None
    """Last day on which this list may be used (ISO 8601); none means that it does not expire."""
    images: tuple[Image, ...]

    @model_validator(mode="after")
    def _no_two_alike(self) -> Self:
        for number, image in enumerate(self.images):
            for other in self.images[:number]:
                if image.clashes(other):
                    found = f"{image.release} again; {other.file} is that release for the same model and hardware"
                    raise Expected("each release of a model once", found=found, at=("images", number, "release"))

        return self
