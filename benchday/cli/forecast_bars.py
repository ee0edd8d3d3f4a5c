"""Stations over time as bars of text: as wide as the terminal, without colour, in ASCII where nothing else is shown."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from prompt_toolkit.utils import get_cwidth

from benchday.cli.forecast_scene import Place, Scene
from benchday.cli.forecast_style import KINDS
from benchday.cli.terminal.paint import PLAIN, Signs, fit
from benchday.domain.clean import clean
from benchday.planning.forecast.typical import Visit

LEAST, MOST = 60, 200
"""Columns within which bars are drawn."""
NAMES = 14
"""Widest that a station's name is shown."""


@dataclass(frozen=True, slots=True)
class Shades:
    """The signs of a bar."""

    hands: str = "▒"
    prepare: str = "░"
    write: str = "█"
    verify: str = "▓"
    charge: str = "≈"
    wait: str = "·"
    rest: str = "╱"  # noqa: RUF001 - a sign, not a text
    edge: str = "│"
    tick: str = "┬"
    rule: str = "─"
    signs: Signs = field(default_factory=Signs)


LETTERS = Shades("h", "i", "W", "v", "c", ".", "/", "|", "+", "-", PLAIN)
"""For terminals without UTF-8."""


def shades(encoding: str | None = None) -> Shades:
    """Return the signs that an encoding can show; standard output's where None."""
    name = sys.stdout.encoding if encoding is None else encoding
    return Shades() if "utf" in (name or "").lower() else LETTERS


def bars(scene: Scene, columns: int, drawn: Shades) -> Iterator[str]:
    """Yield the lines.

    Args:
        scene: what is drawn.
        columns: of the terminal.
        drawn: the signs to draw with.
    """
    grid = Grid(scene, min(max(columns, LEAST), MOST), drawn)
    end = scene.clock(max(scene.typical.finish.values(), default=0.0))
    yield f"Stations over time, in a typical day (it ends at {end})"
    yield from grid.axis()
    for place in scene.places:
        yield from grid.place(place)
    yield grid.come()
    yield from _legend(scene, drawn, grid.columns)
    if scene.typical.not_begun:
        yield from _listed("not begun in this day:", scene.typical.not_begun, grid.columns)
    if scene.typical.stayed_away:
        yield from _listed("do not come in this day:", scene.typical.stayed_away, grid.columns)


class Grid:
    """Minutes as columns of text."""

    def __init__(self, scene: Scene, columns: int, drawn: Shades) -> None:
        self.columns = columns
        self._scene, self._drawn = scene, drawn
        self._head = min(max(get_cwidth(clean(p.name)) for p in scene.places), NAMES) if scene.places else 0
        # "come" stands there too.
        self._head = max(self._head, 4) + 1
        self._wide = columns - self._head - 1
        self._from, self._to = scene.busy_from_to

    def column(self, minutes: float) -> int:
        """Return in which column of the bars a minute lies."""
        share = (minutes - self._from) / (self._to - self._from)
        return min(max(int(share * self._wide + 1e-9), 0), self._wide - 1)

    def axis(self) -> Iterator[str]:
        """Yield the hours, and the rule below them."""
        scene, hours = self._scene, (self._to - self._from) / 60
        least = 7 * hours / self._wide
        step = next(s for s in (0.25, 0.5, 1, 2, 3, 4, 6, 12, 24) if s >= least)
        words, rule = [" "] * (self._wide + 6), [self._drawn.rule] * self._wide
        for number in range(round(hours / step) + 1):
            minutes = self._from + 60 * step * number
            if minutes >= self._to:
                break
            at = self.column(minutes)
            words[at : at + 5] = list(scene.clock(minutes))
            rule[at] = self._drawn.tick
        yield self._line("", "".join(words)[: self._wide])
        yield self._line("", "".join(rule))

    def place(self, place: Place) -> Iterator[str]:
        """Yield two lines of one place: who, and what is done."""
        name = _short_name(clean(place.name), self._head - 1, self._drawn.signs)
        ground = self._ground()
        names = list(ground)
        if place.kept:
            self._write(names, self.column(0), self._wide, f"kept by {place.kept} until somebody decides")
        strip = list(ground)
        for visit in place.visits:
            self._visit(names, strip, visit)
        yield self._line(name, "".join(names))
        yield self._line("", "".join(strip))

    def come(self) -> str:
        """Return the line that says how many units come when."""
        line = [" "] * self._wide
        counts: dict[int, int] = {}
        for came in self._scene.typical.came.values():
            column = self.column(came)
            counts[column] = counts.get(column, 0) + 1
        for column, count in counts.items():
            line[column] = str(count) if count < 10 else "+"
        return self._line("come", "".join(line))

    def _ground(self) -> list[str]:
        """Return an empty line: breaks, now and closing are in it."""
        line = [" "] * self._wide
        for start, end in self._scene.breaks:
            if start < self._to and end > self._from:
                for column in range(self.column(start), max(self.column(end), self.column(start) + 1)):
                    line[column] = self._drawn.rest
        close = self._scene.close
        if close is not None and close < self._to:
            line[self.column(close)] = self._drawn.edge
        if self._scene.live:
            line[self.column(0)] = self._drawn.edge
        return line

    def _visit(self, names: list[str], strip: list[str], visit: Visit) -> None:
        first, last = self.column(visit.start), max(self.column(visit.end), self.column(visit.start) + 1)
        for column in range(first, last):
            strip[column] = self._shade(visit, column)
        serial, model = clean(visit.unit), clean(self._scene.model_of(visit.unit))
        short = serial[-4:]
        room = last - first - 1
        told = next((w for w in (f"{serial} {model}", f"{short} {model}", short) if get_cwidth(w) <= room), "")
        # The end of a serial is what people read off a label.
        told = told or serial[max(len(serial) - room, 0) :]
        self._write(names, first, last, self._drawn.edge + told)

    def _write(self, line: list[str], first: int, past: int, words: str) -> None:
        """Write words over a line, a sign to each column; a wide one takes the next column's place."""
        column = first
        for char in words:
            if column + get_cwidth(char) > past:
                break
            line[column] = char
            line[column + 1 : column + get_cwidth(char)] = [""] * (get_cwidth(char) - 1)
            column += get_cwidth(char)
        # Nothing of a break shows between a name and the end of its visit.
        line[column:past] = [" "] * (past - column)

    def _shade(self, visit: Visit, column: int) -> str:
        """Return the sign of what takes most of a column's minutes."""
        each = (self._to - self._from) / self._wide
        start = self._from + column * each
        spans: dict[str, float] = {}
        for part in visit.parts:
            kind = "wait" if part.waits else KINDS.get(part.name, "prepare")
            spans[kind] = spans.get(kind, 0.0) + max(min(part.end, start + each) - max(part.start, start), 0.0)
        return str(getattr(self._drawn, max(spans, key=lambda kind: spans[kind])))

    def _line(self, name: str, cells: str) -> str:
        return f"{name}{' ' * (self._head - get_cwidth(name))}{self._drawn.edge}{cells}".rstrip()


def _short_name(name: str, columns: int, signs: Signs) -> str:
    """Return a name cut in its middle: names that begin alike often differ at their ends."""
    if get_cwidth(name) <= columns:
        return name
    half = (columns - 1) // 2
    return fit(f"{name[:half]}{signs.cut}{name[-half:]}", columns, signs)


def _legend(scene: Scene, drawn: Shades, columns: int) -> Iterator[str]:
    told = [
        (drawn.hands, "hands"),
        (drawn.prepare, "identify, check, preserve"),
        (drawn.write, "write, restart"),
        (drawn.verify, "verify"),
        (drawn.wait, "waits"),
    ]
    if scene.chargers:
        told.append((drawn.charge, "charge"))
    if scene.breaks:
        told.append((drawn.rest, "break"))
    yield from _broken([f"{sign} {words}" for sign, words in told], columns)


def _listed(head: str, units: Sequence[str], columns: int) -> Iterator[str]:
    first, *others = [clean(unit) for unit in units]
    yield from _broken([f"{head} {first}", *others], columns)


def _broken(words: Sequence[str], columns: int) -> Iterator[str]:
    """Yield lines that hold words side by side, as many as there is room for."""
    line = " "
    for word in words:
        if line.strip() and get_cwidth(line) + get_cwidth(word) + 2 > columns:
            yield line.rstrip()
            line = " "
        line += f" {word} "
    yield line.rstrip()
