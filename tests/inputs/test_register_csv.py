"""Lists of units: read as spreadsheets write them, and written so that they can be read in again."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.cli.register_view import export_head, exported
from benchday.inputs.register_csv import COLUMNS, RegisterRow, RegisterTable, read_register, write_rows
from benchday.planning.register import Registered

HEAD = ",".join(COLUMNS)
ROW = "007421,Millrace,Fen Trust,Avocet,rover,2.10,2026-12-31,2025-05-01,2021-02-01"


def read(*rows: str, head: str = HEAD) -> RegisterTable:
    """Read a list with these rows."""
    return read_register("\n".join((head, *rows, "")).encode(), "units.csv")


def mistakes(*rows: str, head: str = HEAD) -> list[str]:
    """Return what is wrong with a list."""
    return [str(m) for m in read(*rows, head=head).mistakes]


def test_a_right_list() -> None:
    """Every cell as it stands."""
    table = read(ROW, "A2,Weir,,,,,,,")
    assert (table.mistakes, table.notices) == ([], [])
    assert table.rows == [RegisterRow(2, *ROW.split(",")), RegisterRow(3, "A2", "Weir")]
    assert table.recognised() == f"UTF-8, separated by commas, columns {', '.join(COLUMNS)}"


def test_only_two_columns_are_needed() -> None:
    """In any order and case; what is not known is named and left out."""
    table = read("red;Millrace;007421", head="Colour;MODEL;Serial")
    assert table.rows == [RegisterRow(2, "007421", "Millrace")]
    assert table.recognised() == "UTF-8, separated by semicolons, columns model, serial; left out: Colour"
    assert [str(n) for n in table.notices] == [
        "units.csv:1: read as separated by semicolons, not commas",
        "units.csv:1: left out, since these columns are not known here: Colour",
    ]
    assert mistakes("007421", head="serial") == ["units.csv:1:0: expected a column model, found only serial"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_encodings_and_separators(encoding: str, mark: str) -> None:
    """As spreadsheets of several countries save them."""
    text = f"{HEAD}\r\n{ROW.replace('Fen Trust', 'Zoë Fen')}\r\n".replace(",", mark)
    table = read_register(text.encode(encoding), "units.csv")
    assert not table.mistakes
    assert [row.customer for row in table.rows] == ["Zoë Fen"]


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (",M,,,,,,,", "1: expected the serial on the unit's label, found nothing"),
        ("1.23E+11,M,,,,,,,", "1: expected all digits of the serial, found 1.23E+11: a spreadsheet has rounded it"),
        ("7421.0,M,,,,,,,", "1: expected the serial without decimals, found 7421.0"),
        ("A1,,,,,,,,", "2: expected the model, found nothing"),
        (f"A1,M,{'x' * 81},,,,,,", "3: expected at most 80 characters, found 81 characters"),
        ('A1,M,,"a\nb",,,,,', "4: expected text on one line, found a\\x0ab"),
        (
            "A1,M,,,roover,,,,",
            "5: expected one of base, rover, either, none, or nothing, found roover (did you mean rover?)",
        ),
        (
            'A1,M,,,,"2,10",,,',
            "6: expected a version, numbers joined by dots, like 2.10, or nothing, found 2,10 (did you",
        ),
        (
            "A1,M,,,,10-Feb,,,",
            "6: expected a version, numbers joined by dots, like 2.10, or nothing, found 10-Feb: a spread",
        ),
        (
            "A1,M,,,,02.10.2026,,,",
            "6: expected a version, numbers joined by dots, like 2.10, or nothing, found 02.10.2026: ",
        ),
        ("A1,M,,,,,31/03/2026,,", "7: expected a date, year-month-day, like 2026-03-31 (ISO 8601), or nothing"),
        ("A1,M,,,,,,2025-02-30,", "8: expected a date, year-month-day"),
        ("A1,M,,,,,2019-01-01,,2021-02-01", "7: expected a term that ends not before the unit was made, on 2021-02-01"),
        ("A1,M,,,,,,2019-01-01,2021-02-01", "8: expected a service not before the unit was made, on 2021-02-01"),
        ("A1,M,,,,,,,,9", "10: expected 9 cells, found 10"),
    ],
)
def test_bad_rows(row: str, told: str) -> None:
    """Told with line and cell; the row before stays right, but nothing of such a list is read in."""
    (found,) = mistakes(ROW, row)
    assert found.startswith(f"units.csv:3:{told}")


def test_all_mistakes_at_once() -> None:
    """And a serial stands once."""
    assert [m.line for m in read("A1,M,,,x,y,,,", ROW, "A1,M,,,,,,,", ROW).mistakes] == [2, 2, 4, 5]


def test_lost_leading_zeros() -> None:
    """As in the roster: found by their neighbours."""
    rows = [f"00742{n},Millrace,,,,,,," for n in range(4)]
    (found,) = mistakes(*rows, "7425,Millrace,,,,,,,")
    assert "a spreadsheet has probably dropped the leading zeros" in found


def test_simulated_units_never_get_into_a_real_record() -> None:
    """Their list says what it is, in every row."""
    unit = Registered("A1", model="Millrace")
    out = io.StringIO()
    write_rows(out, export_head(simulated=True), [exported(unit, simulated=True)])
    (mistake,) = read_register(out.getvalue().encode(), "units.csv").mistakes
    assert mistake.found == "SIMULATED: it comes from a simulated record, and the two never mix"
    assert len(read_register(out.getvalue().encode(), "units.csv", simulated=True).rows) == 1


@pytest.mark.parametrize("text", ["=1+1", "+44", "-x", "@a", "'=1", "''+1", "'quoted'", "'", "a=b", 'Fen, "The" Trust'])
def test_cells_that_a_spreadsheet_would_take_for_formulas(text: str) -> None:
    """None begins as a formula in the file, and each comes back as it was."""
    out = io.StringIO()
    write_rows(out, ("serial", "model", "customer"), [("A1", "M", text)])
    cell = out.getvalue().splitlines()[1].split(",", 2)[2]
    assert cell.lstrip('"')[:1] not in tuple("=+-@")
    assert [row.customer for row in read_register(out.getvalue().encode(), "units.csv").rows] == [text]


NAMES = (
    st.text(st.characters(exclude_categories=("C", "Z"), include_characters=" '=+-@,;\""), max_size=20)
    .map(str.strip)
    .filter(str.isprintable)
)
DAYS = st.none() | st.dates().map(lambda day: day.isoformat())
UNITS = st.builds(
    Registered,
    serial=st.from_regex(r"[A-Z][A-Za-z0-9./_-]{0,20}", fullmatch=True),
    model=NAMES.filter(bool),
    customer=NAMES,
    crew=NAMES,
    role=st.sampled_from(["", "base", "rover", "either", "none"]),
    release=st.none() | st.from_regex(r"[0-9]{1,3}(\.[0-9]{1,3}){0,3}(-trial[0-9])?", fullmatch=True),
    last_service=DAYS,
    imported_term=DAYS,
)


@given(st.lists(UNITS, max_size=8, unique_by=lambda u: u.serial), st.booleans())
def test_what_is_written_is_read_in_again(units: list[Registered], simulated: bool) -> None:
    """Any register, any text."""
    out = io.StringIO()
    rows = [exported(unit, simulated=simulated) for unit in units]
    assert write_rows(out, export_head(simulated=simulated), rows) == len(units)
    table = read_register(out.getvalue().encode(), "units.csv", simulated=simulated)
    assert table.mistakes == []
    known = [
        (r.serial, r.model, r.customer, r.crew, r.role, r.release, r.support_until, r.serviced) for r in table.rows
    ]
    assert known == [tuple(row[:8]) for row in rows]


@given(st.binary(max_size=300))
def test_any_bytes(data: bytes) -> None:
    """Whatever is in a file, it gives rows, mistakes or both, and never a fault of ours."""
    read_register(data, "units.csv")
    read_register(f"{HEAD}\n".encode() + data, "units.csv")
    read_register(b"\xff\xfe" + data, "units.csv")
