"""roster.csv as spreadsheets write it: every row that cannot be taken as it stands is named, none is guessed at."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchday.domain.units import Role, RosterRow
from benchday.inputs.roster_cells import check_cells, looks_shortened
from benchday.inputs.table_csv import Columns, Table, doubled, rows_of

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
COLUMNS_OF_ROSTER = Columns(COLUMNS)


@dataclass(slots=True)
class Roster(Table):
    """The roster as read: rows that can be used, what is wrong, what is worth knowing."""

    rows: list[RosterRow] = field(default_factory=list)


def read_roster(data: bytes, file: str = "roster.csv") -> Roster:
    """Read the roster; ``column`` of its mistakes counts cells, not characters."""
    roster = Roster(file)
    first_lines: dict[str, int] = {}
    for line, values in rows_of(data, roster, COLUMNS_OF_ROSTER):
        problems = check_cells(values)
        for column, expected, found, near in problems:
            roster.wrong(line, roster.columns[column], expected, found, near)
        doubled(values["serial"], line, first_lines, roster)
        if not problems:
            roster.rows.append(_row(values, line))

    _shortened(roster)
    return roster


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
