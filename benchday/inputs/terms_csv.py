"""A supplier's list of support terms: a CSV file with the columns serial and support_until."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from benchday.inputs.outcome import Notice
from benchday.inputs.roster_cells import date_problems, serial_problems
from benchday.inputs.table_csv import Columns, Table, rows_of

COLUMNS = ("serial", "support_until")
LARGEST_BYTES = 50 * 1024 * 1024
_COLUMNS = Columns(COLUMNS, others_ignored=True, largest_bytes=LARGEST_BYTES)


@dataclass(slots=True)
class Terms(Table):
    """The list as read; whoever reads it decides what its mistakes mean."""

    terms: dict[str, str] = field(default_factory=dict)
    """Serial -> last day of the support term (ISO 8601); a row without a day says nothing."""


def read_terms(data: bytes, file: str) -> Terms:
    """Read a supplier's list; ``column`` of its mistakes counts cells, not characters."""
    found = Terms(file)
    first_lines: dict[str, int] = {}
    for line, values in rows_of(data, found, _COLUMNS):
        serial, last_day = values["serial"], values["support_until"]
        problems = [*serial_problems(serial), *date_problems("support_until", last_day)]
        for column, expected, cell, near in problems:
            found.wrong(line, found.columns[column], expected, cell, near)
        if problems or not last_day:
            continue
        first = first_lines.setdefault(serial, line)
        if found.terms.setdefault(serial, last_day) != last_day:
            expected = f"one day for each serial; line {first} says {found.terms[serial]} of {serial}"
            found.wrong(line, found.columns["support_until"], expected, last_day)
    return found


def kept_for(found: Terms, serials: Iterable[str]) -> tuple[dict[str, str], tuple[Notice, ...]]:
    """Return the terms of these units, and a notice for each serial that seems to have lost its leading zeros."""
    kept: dict[str, str] = {}
    notices: list[Notice] = []
    for serial in serials:
        if serial in found.terms:
            kept[serial] = found.terms[serial]
        elif (bare := serial.lstrip("0")) in found.terms and bare != serial:
            text = f"{bare} is not on the roster, but {serial} is: a spreadsheet has probably dropped the leading zeros"
            notices.append(Notice(found.file, 0, text))
    return kept, tuple(notices)
