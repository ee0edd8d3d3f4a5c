"""The sample day's releases and images: which there are, and how the way leads from one to the next."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from benchday.inputs.source import digest

SMALLEST_BYTES, LARGEST_BYTES = 300_000, 400_000


class BuildImage(Protocol):
    """Builds an image of an invented model; the same arguments give the same bytes."""

    def __call__(
        self, *, model: str, version: str, hardware: list[str], payload_bytes: int, seed: int, enter_from: str
    ) -> bytes:
        """Return the bytes of the image.

        Args:
            enter_from: oldest release from which a running unit may enter it; empty for any.
        """
        ...


@dataclass(frozen=True, slots=True)
class SampleRelease:
    """One release of one model."""

    model: str
    release: str
    issued: str
    hardware: tuple[str, ...]
    enter_from: str = ""
    through: tuple[str, ...] = ()
    back_to: str = ""

    @property
    def file(self) -> str:
        """The image's name in the store."""
        return f"{self.model.lower()}-{self.release}.{'img' if self.model == 'Wherry' else 'fen'}"


_MILLRACE, _WEIRSTONE, _OSIER, _TILLER = ("A", "B", "C"), ("A", "B"), ("C", "D"), ("E",)
_GANTRY, _FENBOOK, _SLUICEPAD = ("F", "G"), ("H", "J"), ("F", "G")

RELEASES = (
    SampleRelease("Millrace", "2.6", "2025-02-17", _MILLRACE),
    SampleRelease("Millrace", "2.9", "2025-11-10", _MILLRACE, enter_from="2.6", through=("2.6",), back_to="2.6"),
    SampleRelease("Millrace", "2.10", "2026-05-04", _MILLRACE, enter_from="2.6", through=("2.6",), back_to="2.9"),
    SampleRelease("Weirstone", "2.6", "2025-03-03", _WEIRSTONE),
    SampleRelease("Weirstone", "2.9", "2025-11-24", _WEIRSTONE, back_to="2.6"),
    SampleRelease("Weirstone", "2.10", "2026-05-11", _WEIRSTONE, back_to="2.9"),
    SampleRelease("Osier", "2.6", "2025-02-24", _OSIER),
    SampleRelease("Osier", "2.9", "2025-11-17", _OSIER, back_to="2.6"),
    SampleRelease("Osier", "2.10", "2026-05-07", _OSIER, back_to="2.9"),
    SampleRelease("Gantry", "3.4", "2025-09-22", _GANTRY),
    SampleRelease("Gantry", "3.5", "2026-04-27", _GANTRY, back_to="3.4"),
    SampleRelease("Fenbook", "1.4", "2025-03-10", _FENBOOK),
    SampleRelease("Fenbook", "1.6", "2026-05-18", _FENBOOK, back_to="1.4"),
    SampleRelease("Sluicepad", "1.3", "2025-01-20", _SLUICEPAD),
    SampleRelease("Sluicepad", "1.4", "2026-04-27", _SLUICEPAD, back_to="1.3"),
    SampleRelease("Wherry", "1.3.1", "2025-10-13", ()),
    SampleRelease("Wherry", "1.4.0", "2026-04-20", (), back_to="1.3.1"),
    SampleRelease("Tiller", "2.2", "2024-10-07", _TILLER),
    SampleRelease("Tiller", "2.3", "2026-04-13", _TILLER, back_to="2.2"),
)
"""The newest receivers' releases were issued after the support term of one unit of the day ended."""


def write_images(store: Path, seed: int, build_image: BuildImage) -> Iterator[dict[str, Any]]:
    """Write each image into the store and yield its entry in the list."""
    for release in RELEASES:
        size = random.Random(f"{seed}:{release.file}").randrange(SMALLEST_BYTES, LARGEST_BYTES)  # noqa: S311 -- no secret
        data = build_image(
            model=release.model,
            version=release.release,
            hardware=list(release.hardware),
            payload_bytes=size,
            seed=seed,
            enter_from=release.enter_from,
        )
        (store / release.file).write_bytes(data)
        yield _entry(release, data)


def _entry(release: SampleRelease, data: bytes) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "file": release.file,
        "release": release.release,
        "issued": release.issued,
        "sha256": digest(data),
        "bytes": len(data),
        "models": [release.model],
    }
    if release.hardware:
        entry["hardware"] = list(release.hardware)
    ways = {"enter_from": release.enter_from, "through": list(release.through), "back_to": release.back_to}
    entry |= {key: value for key, value in ways.items() if value}
    return entry | {"source": "built by this program for its sample day", "approved_by": "Ines Halloran"}
