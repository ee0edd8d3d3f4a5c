"""The register as a CSV file: read in from a list of the shop's own, and written so that it can be read in again."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from sys import intern
from typing import TextIO

from benchday.domain.clean import clean
from benchday.domain.kinds import UnitRegistered
from benchday.domain.units import Role
from benchday.inputs.outcome import nearest, shown
from benchday.inputs.roster_cells import LONGEST_NAME, Problem, date_problems, looks_shortened, serial_problems
from benchday.inputs.table_csv import Columns, Table, doubled, rows_of

NEEDED = ("serial", "model")
OPTIONAL = ("customer", "crew", "role", "release", "support_until", "serviced", "made")
COLUMNS = (*NEEDED, *OPTIONAL)
MARK, SIMULATED = "simulated", "SIMULATED"
"""Column that only the list of a simulated record has, and what stands in it in every row."""
_COLUMNS = Columns(NEEDED, (*OPTIONAL, MARK), others_ignored=True, largest_bytes=64 * 1024 * 1024)
_DATES = ("support_until", "serviced", "made")

_RELEASE = re.compile(r"[0-9]+(\.[0-9]+)*([-+~_][0-9A-Za-z.]+)?")
_TAKEN_FOR_A_DATE = re.compile(
    r"[0-9]{1,2}[-. ]?[A-Za-z]{3,}|[A-Za-z]{3,}[-. ][0-9]{2,4}|[0-9]{1,2}[./][0-9]{1,2}[./][0-9]{4}"
)
LONGEST_RELEASE = 40

_STEERS = re.compile("'*[=+\\-@\uff1d\uff0b\uff0d\uff20]")
"""A cell that a spreadsheet would take for a formula, or that was kept from that by an apostrophe; signs of full width
are taken alike by some (OWASP, CSV Injection). Tab and line end, which it names too, never come so far."""


@dataclass(slots=True)
class RegisterRow:
    """One line of a list: a unit, with what the list says of it; empty text where it says nothing."""

    line: int
    serial: str
    model: str
    customer: str = ""
    crew: str = ""
    role: str = ""
    release: str = ""
    support_until: str = ""
    serviced: str = ""
    made: str = ""

    def facts(self, source: str) -> UnitRegistered:
        """Return the row as it stands in an entry.

        Args:
            source: name of the list.
        """
        return UnitRegistered(
            source=source,
            line=self.line,
            model=self.model,
            customer=self.customer,
            crew=self.crew,
            role=self.role,
            release=self.release or None,
            support_until=self.support_until or None,
            serviced=self.serviced or None,
            made=self.made or None,
        )


@dataclass(slots=True)
class RegisterTable(Table):
    """A list as read: rows that can be used, what is wrong, what is worth knowing."""

    rows: list[RegisterRow] = field(default_factory=list)


def read_register(data: bytes, file: str, *, simulated: bool = False) -> RegisterTable:
    """Read a list of units; ``column`` of its mistakes counts cells, not characters.

    Args:
        data: the file.
        file: its name.
        simulated: whether it is read into a simulated record; a real one takes no rows of simulated units.
    """
    table = RegisterTable(file)
    first_lines: dict[str, int] = {}
    for line, cells in rows_of(data, table, _COLUMNS):
        values = {name: intern(_taken_off(cells.get(name, ""))) for name in COLUMNS}
        problems = list(_problems(values))
        if not simulated and cells.get(MARK):
            found = f"{shown(cells[MARK])}: it comes from a simulated record, and the two never mix"
            problems.append((MARK, "nothing, for a record of real units", found, None))
        for column, expected, found, near in problems:
            table.wrong(line, table.columns.get(column, 0), expected, found, near)
        if not doubled(values["serial"], line, first_lines, table) and not problems:
            table.rows.append(RegisterRow(line, **values))

    for line, serial, usual in looks_shortened([(row.line, row.model, row.serial) for row in table.rows]):
        expected = f"{usual} digits, as the other serials of this model have"
        why = "a spreadsheet has probably dropped the leading zeros; read it off the label"
        table.wrong(line, table.columns["serial"], expected, f"{serial}, {len(serial)} digits: {why}")
    return table


def write_rows(out: TextIO, head: Iterable[str], rows: Iterable[Iterable[str]], end: str = "\r\n") -> int:
    """Write rows as CSV (RFC 4180), each text as it can be opened in a spreadsheet and shown; return how many."""
    writer = csv.writer(out, lineterminator=end)
    writer.writerow(head)
    count = 0
    for row in rows:
        writer.writerow([_put_before(cell) for cell in row])
        count += 1
    return count


def _put_before(cell: str) -> str:
    """Put an apostrophe before what would be a formula (OWASP, CSV Injection), and before one that is there already."""
    cell = clean(cell)
    return f"'{cell}" if _STEERS.match(cell.lstrip()) else cell


def _taken_off(cell: str) -> str:
    """Take off the apostrophe that was put before a cell."""
    return cell[1:] if cell.startswith("'") and _STEERS.match(cell) else cell


def _problems(values: Mapping[str, str]) -> Iterator[Problem]:
    yield from serial_problems(values["serial"])
    for column in ("model", "customer", "crew"):
        yield from _name(column, values[column])
    yield from _role(values["role"])
    yield from _release(values["release"])
    wrong = [problem for column in _DATES for problem in date_problems(column, values[column])]
    yield from wrong or _in_order(values)


def _name(column: str, text: str) -> Iterator[Problem]:
    if column == "model" and not text:
        yield column, "the model", "nothing", None
    elif len(text) > LONGEST_NAME:
        yield column, f"at most {LONGEST_NAME} characters", f"{len(text)} characters", None
    elif not text.isprintable():
        yield column, "text on one line", shown(text), None


def _role(role: str) -> Iterator[Problem]:
    known = [r.value for r in Role]
    if role and role not in known:
        yield "role", "one of " + ", ".join(known) + ", or nothing", shown(role), nearest(role, known)


def _release(release: str) -> Iterator[Problem]:
    expected = "a version, numbers joined by dots, like 2.10, or nothing"
    if not release:
        return
    if _TAKEN_FOR_A_DATE.fullmatch(release):
        found = f"{shown(release)}: a spreadsheet took it for a date; set the column to text and write the version anew"
        yield "release", expected, found, None
    elif len(release) > LONGEST_RELEASE or not _RELEASE.fullmatch(release):
        dotted = release.replace(",", ".")
        yield "release", expected, shown(release), dotted if _RELEASE.fullmatch(dotted) else None


def _in_order(values: Mapping[str, str]) -> Iterator[Problem]:
    made = values["made"]
    for column, what in (("support_until", "a term that ends"), ("serviced", "a service")):
        if made and values[column] and values[column] < made:
            yield column, f"{what} not before the unit was made, on {made}", values[column], None
