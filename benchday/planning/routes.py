"""Routes: the releases a unit must pass through to get to another. Never downwards."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from benchday.domain.releases import Image, Version


@dataclass(frozen=True, slots=True)
class Start:
    """Where a route begins."""

    version: Version | None
    """Release that runs now; None in the boot loader, from which any release may be entered."""


def newest_first(images: Iterable[Image]) -> tuple[Image, ...]:
    """Return images ordered by their release, newest first."""
    return tuple(sorted(images, key=lambda image: image.version, reverse=True))


def route(start: Start, goal: Version, images: Sequence[Image]) -> tuple[Image, ...] | None:
    """Return the shortest list of images to write that leads to the goal, its last; None if there is none.

    Args:
        start: where the unit is; already on the goal is no list of writes but the empty one.
        goal: release to reach.
        images: those that may be put on this unit (model, hardware revision, support term).
    """
    if start.version == goal:
        return ()
    stones = _stones(images)
    ways: deque[tuple[Start, frozenset[Version], tuple[Image, ...]]] = deque([(start, frozenset(), ())])
    seen: set[tuple[Version | None, frozenset[Version]]] = set()
    while ways:
        here, passed, written = ways.popleft()
        for image in _enterable(here, start, passed, images):
            way = (*written, image)
            if image.version == goal:
                return way
            after = passed | ({image.version} & stones)
            if image.version < goal and (image.version, after) not in seen:
                seen.add((image.version, after))
                ways.append((Start(image.version), after, way))

    return None


def reachable(start: Start, images: Sequence[Image]) -> tuple[Image, ...]:
    """Return the images to whose release a route leads, newest first."""
    return tuple(image for image in newest_first(images) if route(start, image.version, images))


def may_enter(image: Image, here: Start) -> bool:
    """Tell whether a release may be entered from this one as far as ``enter_from`` says, and upwards only."""
    if here.version is None:
        return True
    if image.enter_from is not None and here.version < Version(image.enter_from):
        return False
    return image.version > here.version


def _enterable(here: Start, start: Start, passed: frozenset[Version], images: Sequence[Image]) -> Iterator[Image]:
    for image in newest_first(images):
        if may_enter(image, here) and all(stone in passed for stone in _demanded(image, start)):
            yield image


def _demanded(image: Image, start: Start) -> Iterator[Version]:
    """Yield the releases that a unit which began here must have passed through before this one."""
    if start.version is None:
        return
    for text in image.through:
        stone = Version(text)
        if start.version < stone:
            yield stone


def _stones(images: Iterable[Image]) -> frozenset[Version]:
    return frozenset(Version(text) for image in images for text in image.through)
