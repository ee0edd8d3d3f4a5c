"""Lines of the screen as styled pieces, cut and padded to columns; signs that every terminal can show."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from prompt_toolkit.utils import get_cwidth

Piece = tuple[str, str]
"""Style and text."""
Line = list[Piece]


@dataclass(frozen=True, slots=True)
class Signs:
    """The signs that lines and bars are drawn with."""

    rule: str = "─"
    full: str = "█"
    empty: str = "░"
    cut: str = "…"
    chosen: str = "▸"


PLAIN = Signs("-", "#", ".", "~", ">")
"""For terminals without UTF-8."""


def fit(text: str, columns: int, signs: Signs) -> str:
    """Return a text cut to columns, with a sign where something is cut away, and padded."""
    if columns <= 0:
        return ""
    if get_cwidth(text) > columns:
        kept = ""
        for char in text:
            if get_cwidth(kept + char) > columns - 1:
                break
            kept += char
        text = kept + signs.cut
    return text + " " * (columns - get_cwidth(text))


def fit_line(line: Line, columns: int, signs: Signs) -> Line:
    """Return a line cut or padded to columns, its pieces kept apart."""
    fitted: Line = []
    left = columns
    for number, (style, text) in enumerate(line):
        wide = get_cwidth(text)
        last = number == len(line) - 1
        if wide > left:
            fitted.append((style, fit(text, left, signs)))
            return fitted
        fitted.append((style, text if not last else text + " " * (left - wide)))
        left -= wide
    return fitted or [("", " " * columns)]


def rule(title: str, columns: int, signs: Signs, right: str = "") -> Line:
    """Return a rule with a title in it, and a note at its right end."""
    head = f"{signs.rule * 2} {title} " if title else ""
    tail = f" {right} {signs.rule * 2}" if right else ""
    room = columns - get_cwidth(head) - get_cwidth(tail)
    if room < 0:
        # The note says what is hidden; it is the title that gives way.
        return [("class:rule", fit(fit(head, columns - get_cwidth(tail), signs) + tail, columns, signs))]
    return [("class:rule", head + signs.rule * room + tail)]


def bar(percent: int, columns: int, signs: Signs) -> str:
    """Return a bar of so many columns."""
    full = max(0, min(columns, percent * columns // 100))
    return signs.full * full + signs.empty * (columns - full)


def broken(text: str, columns: int) -> list[str]:
    """Return a text of several lines broken to columns, words kept whole where they fit."""
    lines: list[str] = []
    for line in text.split("\n"):
        indent = "  " if line.startswith("CAUTION") else ""
        lines += textwrap.wrap(line, max(columns, 20), subsequent_indent=indent, break_on_hyphens=False) or [""]
    return lines
