"""roster.csv as spreadsheets write it: every row that cannot be taken as it stands is named, none is guessed at."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from benchday.domain.errors import Mistake
from benchday.domain.units import Role, RosterRow
from benchday.inputs.outcome import Notice, nearest, shown
from benchday.inputs.roster_cells import check_cells, looks_shortened

COLUMNS = (
    "serial",
    "model",
    "customer",
    "contact",
    "crew",
    "role",
    "arrives",
    "promised",
    "support_until",
    "note",
)
LARGEST_BYTES = 8 * 1024 * 1024
_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}


@dataclass(slots=True)
class Roster:
    """The roster as read: rows that can be used, what is wrong, what is worth knowing."""

    file: str
    rows: list[RosterRow] = field(default_factory=list)
    mistakes: list[Mistake] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    columns: dict[str, int] = field(default_factory=dict)
    """Column -> its place in the file, counted from 1."""

    def wrong(self, line: int, column: int, expected: str, found: str, near: str | None = None) -> None:
        """Note a mistake."""
        self.mistakes.append(Mistake(self.file, line, column, expected, found, near))


def read_roster(data: bytes, file: str = "roster.csv") -> Roster:
    """Read the roster; ``column`` of its mistakes counts cells, not characters."""
    roster = Roster(file)
    if len(data) > LARGEST_BYTES:
        roster.wrong(0, 0, "a file of at most 8 MiB", f"{len(data)} bytes")
        return roster

    text = _decoded(data, roster)
    if text is None:
        return roster
    lines = list(_lines(text, roster))
    if not lines:
        roster.wrong(1, 1, "a first line with the columns " + ",".join(COLUMNS), "an empty file")
        return roster

    _header(lines[0], roster)
    if not roster.mistakes:
        _rows(lines[1:], roster)
    return roster


def _decoded(data: bytes, roster: Roster) -> str | None:
    if b"\x00" in data:
        before = data[: data.index(b"\x00")]
        found = "a NUL byte: this is no text file, or one saved as UTF-16"
        roster.wrong(before.count(b"\n") + 1, 0, "a text file, saved as CSV in UTF-8", found)
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return _windows(data, roster)

    if data.startswith(b"\xef\xbb\xbf"):
        roster.notices.append(Notice(roster.file, 0, "read as UTF-8 with a byte order mark"))
    return text


def _windows(data: bytes, roster: Roster) -> str | None:
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        roster.wrong(
            line, 0, "text in UTF-8 or Windows-1252", f"the byte {data[error.start]:02X} hex, no text in either"
        )
        return None

    first = next((n for n, line in enumerate(data.split(b"\n"), start=1) if not line.isascii()), 1)
    roster.notices.append(
        Notice(roster.file, first, "not UTF-8, read as Windows-1252; look at the accented letters, or save it as UTF-8")
    )
    return text


def _lines(text: str, roster: Roster) -> Iterator[tuple[int, list[str]]]:
    """Yield each row with the line on which it begins; rows without anything in them are left out."""
    first = text.split("\n", 1)[0]
    counts = {mark: first.count(mark) for mark in _DELIMITERS}
    mark = max(counts, key=lambda m: counts[m])
    if counts[mark] and mark != ",":
        roster.notices.append(Notice(roster.file, 1, f"read as separated by {_DELIMITERS[mark]}, not commas"))

    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    before = 0
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield before + 1, cells
            before = reader.line_num
    except csv.Error as error:
        if "unexpected end" in str(error):
            roster.wrong(before + 1, 0, 'a closing quote (")', "a quote that is opened in this line and never closed")
        else:
            roster.wrong(before + 1, 0, "cells that can be told apart", shown(str(error)))


def _header(header: tuple[int, list[str]], roster: Roster) -> None:
    line, cells = header
    for place, cell in enumerate(cells, start=1):
        name = cell.strip().casefold().replace(" ", "_")
        if name in roster.columns:
            roster.wrong(line, place, "each column once", f"{name} again, which is column {roster.columns[name]} too")
        elif name in COLUMNS:
            roster.columns[name] = place
        else:
            found = shown(cell.strip()) or "a column without a name"
            roster.wrong(line, place, "one of the columns " + ", ".join(COLUMNS), found, nearest(name, COLUMNS))

    for name in COLUMNS:
        if name not in roster.columns:
            roster.wrong(line, 0, f"a column {name}; it may be left empty below", "no such column")


def _rows(lines: Sequence[tuple[int, list[str]]], roster: Roster) -> None:
    width = len(roster.columns)
    first_lines: dict[str, int] = {}
    for line, cells in lines:
        if any(cell.strip() for cell in cells[width:]):
            found = f"{len(cells)}: a cell that holds the separator needs quotes"
            roster.wrong(line, width + 1, f"{width} cells", found)
            continue

        values = {name: "".join(cells[place - 1 : place]).strip() for name, place in roster.columns.items()}
        problems = check_cells(values)
        for column, expected, found, near in problems:
            roster.wrong(line, roster.columns[column], expected, found, near)
        _doubled(values["serial"], line, first_lines, roster)
        if not problems:
            roster.rows.append(_row(values, line))

    _shortened(roster)


def _doubled(serial: str, line: int, first_lines: dict[str, int], roster: Roster) -> None:
    first = first_lines.setdefault(serial, line)
    if serial and first != line:
        found = f"{shown(serial)} again; it stands in line {first} first"
        roster.wrong(line, roster.columns["serial"], "each serial once", found)


def _shortened(roster: Roster) -> None:
    for line, serial, usual in looks_shortened([(row.line, row.model, row.serial) for row in roster.rows]):
        expected = f"{usual} digits, as the other serials of this model have"
        why = "a spreadsheet has probably dropped the leading zeros; read it off the label"
        roster.wrong(line, roster.columns["serial"], expected, f"{serial}, {len(serial)} digits: {why}")


def _row(values: dict[str, str], line: int) -> RosterRow:
    return RosterRow(
        serial=values["serial"],
        model=values["model"],
        customer=values["customer"],
        contact=values["contact"],
        crew=values["crew"],
        role=Role(values["role"]),
        arrives=values["arrives"] or None,
        promised=values["promised"] or None,
        support_until=values["support_until"] or None,
        note=values["note"],
        line=line,
    )
