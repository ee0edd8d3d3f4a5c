"""Releases as places in their order, and sets of releases as whole numbers with a bit for each place.

A list of a few hundred releases is asked about many thousand units; on whole numbers each question is a few operations.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator

from benchday.domain.playbook import Works
from benchday.domain.releases import Image, Version


class Order:
    """All releases that are spoken of, oldest first; the place of a release counts from 0."""

    __slots__ = ("_places", "_texts", "versions")

    def __init__(self, images: Iterable[Image], running: Iterable[str | None] = ()) -> None:
        """Put in order what these images are and speak of, and the releases that units run.

        Args:
            images: of any models.
            running: releases as units tell them; what is no version has no place.
        """
        spoken = {Version(text) for image in images for text in _spoken_of(image)}
        told = {text: version for text in set(running) if (version := as_version(text)) is not None}
        self.versions = tuple(sorted(spoken.union(told.values())))
        self._places = {version: place for place, version in enumerate(self.versions)}
        self._texts = {text: self._places[version] for text, version in told.items() if text is not None}

    def __len__(self) -> int:
        return len(self.versions)

    def place(self, version: Version) -> int:
        """Return the place of a release that one of the images is or speaks of."""
        return self._places[version]

    def running(self, text: str | None) -> int | None:
        """Return the place of a release that a unit runs; None if it has none."""
        return self._texts.get(text) if text is not None else None

    def between(self, oldest: Version, newest: Version | None) -> int:
        """Return the set of all places from one release to another, both included; None: to the end."""
        low = bisect_left(self.versions, oldest)
        high = len(self.versions) if newest is None else bisect_right(self.versions, newest)
        return below(high) & ~below(low) if high > low else 0

    def within(self, works: Works) -> int:
        """Return the set of all places in a range of releases."""
        return self.between(Version(works.oldest), Version(works.newest) if works.newest else None)


def below(place: int) -> int:
    """Return the set of all places under this one."""
    return (1 << place) - 1


def above(place: int, places: int) -> int:
    """Return those of the set that are over this place."""
    return places >> (place + 1) << (place + 1)


def each(places: int) -> Iterator[int]:
    """Yield the places of a set, oldest first."""
    while places:
        lowest = places & -places
        yield lowest.bit_length() - 1
        places ^= lowest


def _spoken_of(image: Image) -> Iterator[str]:
    yield image.release
    yield from image.through
    for text in (image.enter_from, image.back_to):
        if text is not None:
            yield text


def as_version(text: str | None) -> Version | None:
    """Return what a unit tells as its release as a version, None if it is none."""
    if text is None:
        return None
    try:
        return Version(text)
    except ValueError:
        return None
