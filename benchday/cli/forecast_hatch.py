"""Areas with lines in them. Each line is drawn: pattern fills of SVG become heavy bitmaps where a page is printed."""

from __future__ import annotations

import math
from collections.abc import Iterator

from benchday.cli.forecast_style import path, rect
from benchday.cli.markup import Element

HATCHES: dict[str, tuple[tuple[str, float], ...]] = {
    "hands": (("/", 6.0),),
    "verify": (("-", 4.0),),
    "charge": (("-", 5.0), ("|", 6.0)),
    "break": (("\\", 12.0),),
    "closed": (("-", 12.0), ("|", 12.0)),
}
"""Kind of area -> its lines: their direction, and how far apart they are."""


def area(parent: Element, x: float, y: float, width: float, height: float, kind: str) -> Element:
    """Add a rectangle with the lines of its kind; return the rectangle."""
    drawn = rect(parent, x, y, width, height, kind)
    way = "".join(
        f"M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"
        for direction, apart in HATCHES.get(kind, ())
        for x1, y1, x2, y2 in lines(direction, apart, x, y, x + width, y + height)
    )
    if way:
        path(parent, way, f"lines of-{kind}")
    return drawn


def lines(
    direction: str, apart: float, left: float, top: float, right: float, bottom: float
) -> Iterator[tuple[float, float, float, float]]:
    """Yield the lines of one direction within a rectangle; those of neighbours go on where these end."""
    match direction:
        case "-":
            for number in range(1, max(math.ceil((bottom - top) / apart), 1)):
                yield left, top + number * apart, right, top + number * apart
        case "|":
            for x in _every(apart, left, right):
                yield x, top, x, bottom
        case "/":
            for together in _every(apart, left + top, right + bottom):
                x1, x2 = max(left, together - bottom), min(right, together - top)
                yield x1, together - x1, x2, together - x2
        case _:
            for between in _every(apart, left - bottom, right - top):
                x1, x2 = max(left, top + between), min(right, bottom + between)
                yield x1, x1 - between, x2, x2 - between


def _every(apart: float, first: float, last: float) -> Iterator[float]:
    number = math.floor(first / apart) + 1
    while number * apart < last:
        yield number * apart
        number += 1
