"""A table as spreadsheets write it (CSV, RFC 4180): encoding, separator and order of columns recognised, and said.

Nothing is guessed at beyond that: what cannot be taken as it stands is a mistake with its line and cell.
"""

from __future__ import annotations

import csv
import io
from codecs import BOM_UTF8, BOM_UTF16_BE, BOM_UTF16_LE
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from benchday.domain.errors import Mistake
from benchday.inputs.outcome import Notice, nearest, shown

_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}
Row = tuple[int, dict[str, str]]
"""The line on which it begins, and its cells by column, without spaces around them."""


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns that a table may have, in any order."""

    needed: tuple[str, ...]
    optional: tuple[str, ...] = ()
    others_ignored: bool = False
    """Unknown columns are named and left out, instead of being a mistake."""
    largest_bytes: int = 8 * 1024 * 1024

    @property
    def known(self) -> tuple[str, ...]:
        """All of them."""
        return (*self.needed, *self.optional)


@dataclass(slots=True)
class Table:
    """A table as it is being read: what is wrong, what is worth knowing, what was recognised."""

    file: str
    mistakes: list[Mistake] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    columns: dict[str, int] = field(default_factory=dict)
    """Column -> its place in the file, counted from 1."""
    encoding: str = "UTF-8"
    separator: str = "commas"
    ignored: list[str] = field(default_factory=list)
    """Columns that were left out, as they are written."""

    def wrong(self, line: int, column: int, expected: str, found: str, near: str | None = None) -> None:
        """Note a mistake; ``column`` counts cells, from 1."""
        self.mistakes.append(Mistake(self.file, line, column, expected, found, near))

    def note(self, line: int, text: str) -> None:
        """Note something worth knowing."""
        self.notices.append(Notice(self.file, line, text))

    def recognised(self) -> str:
        """Return in words how the table was read."""
        left_out = f"; left out: {', '.join(self.ignored)}" if self.ignored else ""
        return f"{self.encoding}, separated by {self.separator}, columns {', '.join(self.columns)}{left_out}"


def rows_of(data: bytes, table: Table, columns: Columns) -> Iterator[Row]:
    """Yield the rows of a table, none if its encoding or its first line cannot be taken.

    Args:
        data: the file.
        table: takes up mistakes, notices and what was recognised.
        columns: those that there may be.
    """
    if len(data) > columns.largest_bytes:
        table.wrong(0, 0, f"a file of at most {columns.largest_bytes >> 20} MiB", f"{len(data)} bytes")
        return
    text = _decoded(data, table)
    if text is None:
        return
    lines = _lines(text, table)
    header = next(lines, None)
    if header is None:
        if not table.mistakes:
            table.wrong(1, 1, "a first line with the columns " + ",".join(columns.known), "an empty file")
        return

    _header(header, table, columns)
    if not table.mistakes:
        yield from _cells(lines, len(header[1]), table)


def doubled(serial: str, line: int, first_lines: dict[str, int], table: Table) -> bool:
    """Tell whether a serial stands in an earlier line too, and note it as a mistake."""
    first = first_lines.setdefault(serial, line)
    if not serial or first == line:
        return False
    found = f"{shown(serial)} again; it stands in line {first} first"
    table.wrong(line, table.columns["serial"], "each serial once", found)
    return True


def _decoded(data: bytes, table: Table) -> str | None:
    if data.startswith((BOM_UTF16_LE, BOM_UTF16_BE)):
        return _utf16(data, table)
    if b"\x00" in data:
        before = data[: data.index(b"\x00")]
        found = "a NUL byte: this is no text file, or one saved as UTF-16"
        table.wrong(before.count(b"\n") + 1, 0, "a text file, saved as CSV in UTF-8", found)
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return _windows(data, table)

    if data.startswith(BOM_UTF8):
        table.encoding = "UTF-8 with a byte order mark"
        table.note(0, f"read as {table.encoding}")
    return text


def _utf16(data: bytes, table: Table) -> str | None:
    try:
        text = data.decode("utf-16")
    except UnicodeDecodeError as error:
        found = f"the byte {error.start + 1} of the file, which is none"
        table.wrong(0, 0, "text in UTF-16, as its byte order mark says", found)
        return None
    table.encoding = "UTF-16 with a byte order mark"
    table.note(0, f"read as {table.encoding}")
    return text


def _windows(data: bytes, table: Table) -> str | None:
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        found = f"the byte {data[error.start]:02X} hex, no text in either"
        table.wrong(line, 0, "text in UTF-8 or Windows-1252", found)
        return None

    table.encoding = "Windows-1252"
    first = next((n for n, line in enumerate(data.split(b"\n"), start=1) if not line.isascii()), 1)
    table.note(first, "not UTF-8, read as Windows-1252; look at the accented letters, or save it as UTF-8")
    return text


def _lines(text: str, table: Table) -> Iterator[tuple[int, list[str]]]:
    """Yield each row with the line on which it begins; rows without anything in them are left out."""
    source = io.StringIO(text, newline="")
    first = source.readline()
    source.seek(0)
    counts = {mark: first.count(mark) for mark in _DELIMITERS}
    mark = max(counts, key=lambda m: counts[m])
    table.separator = _DELIMITERS[mark]
    if counts[mark] and mark != ",":
        table.note(1, f"read as separated by {_DELIMITERS[mark]}, not commas")

    reader = csv.reader(source, delimiter=mark, strict=True)
    before = 0
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield before + 1, cells
            before = reader.line_num
    except csv.Error as error:
        if "unexpected end" in str(error):
            table.wrong(before + 1, 0, 'a closing quote (")', "a quote that is opened in this line and never closed")
        else:
            table.wrong(before + 1, 0, "cells that can be told apart", shown(str(error)))


def _header(header: tuple[int, list[str]], table: Table, columns: Columns) -> None:
    line, cells = header
    for place, cell in enumerate(cells, start=1):
        name = cell.strip().casefold().replace(" ", "_")
        if name in table.columns:
            table.wrong(line, place, "each column once", f"{name} again, which is column {table.columns[name]} too")
        elif name in columns.known:
            table.columns[name] = place
        elif columns.others_ignored:
            table.ignored.append(shown(cell.strip()) or f"column {place}, which has no name")
        else:
            found = shown(cell.strip()) or "a column without a name"
            table.wrong(
                line, place, "one of the columns " + ", ".join(columns.known), found, nearest(name, columns.known)
            )

    for name in columns.needed:
        if name not in table.columns:
            empty = "" if columns.others_ignored else "; it may be left empty below"
            found = f"only {', '.join(shown(c.strip()) for c in cells)}" if columns.others_ignored else "no such column"
            table.wrong(line, 0, f"a column {name}{empty}", found)
    if table.ignored and not table.mistakes:
        table.note(line, f"left out, since these columns are not known here: {', '.join(table.ignored)}")


def _cells(lines: Iterator[tuple[int, list[str]]], width: int, table: Table) -> Iterator[Row]:
    places: Sequence[tuple[str, int]] = [(name, place - 1) for name, place in table.columns.items()]
    for line, cells in lines:
        if any(cell.strip() for cell in cells[width:]):
            found = f"{len(cells)}: a cell that holds the separator needs quotes"
            table.wrong(line, width + 1, f"{width} cells", found)
            continue
        filled = len(cells)
        yield line, {name: cells[place].strip() if place < filled else "" for name, place in places}
