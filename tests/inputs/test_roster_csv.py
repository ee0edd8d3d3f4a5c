"""The roster as spreadsheets write it, and what they do to it."""

from __future__ import annotations

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.inputs.roster_csv import COLUMNS, Roster, read_roster

HEAD = ",".join(COLUMNS)
ROW = "007421530018,Millrace,A trust,Somebody,Avocet,rover,08:00,12:00,2026-12-31,"


def read(*rows: str, head: str = HEAD) -> Roster:
    """Read a roster made of these rows."""
    return read_roster("\n".join((head, *rows, "")).encode())


def mistakes(*rows: str, head: str = HEAD) -> list[str]:
    """Return the mistakes of these rows as a person sees them."""
    return [str(mistake) for mistake in read(*rows, head=head).mistakes]


def with_cell(column: str, text: str) -> str:
    """Return the usual row with one cell changed."""
    cells = ROW.split(",")
    cells[COLUMNS.index(column)] = text
    return ",".join(cells)


def test_a_right_row() -> None:
    roster = read(ROW)

    assert roster.mistakes == []
    assert roster.notices == []
    (row,) = roster.rows
    assert (row.serial, row.model, row.role.value, row.line) == ("007421530018", "Millrace", "rover", 2)
    assert (row.arrives, row.promised, row.support_until, row.note) == ("08:00", "12:00", "2026-12-31", "")


def test_columns_may_stand_in_any_order() -> None:
    order = list(reversed(COLUMNS))
    cells = ",".join(reversed(ROW.split(",")))

    assert read(cells, head=",".join(order)).rows == read(ROW).rows


@pytest.mark.parametrize(
    ("column", "text", "said"),
    [
        ("serial", "1.23E+11", "2:1: expected all digits of the serial, found 1.23E+11: a spreadsheet has rounded it"),
        (
            "serial",
            '"1,23E+11"',
            "2:1: expected all digits of the serial, found 1,23E+11: a spreadsheet has rounded it",
        ),
        ("serial", "7421530018.0", "2:1: expected the serial without decimals, found 7421530018.0: a spreadsheet took"),
        ("serial", "", "2:1: expected the serial on the unit's label, found nothing"),
        ("serial", "AB 12", "2:1: expected a serial of letters, digits, hyphens, dots, slashes and underscores"),
        ("serial", "A" * 41, "2:1: expected a serial of at most 40 characters, found 41 characters"),
        ("model", "", "2:2: expected the model, found nothing"),
        ("customer", "", "2:3: expected the customer, found nothing"),
        ("role", "rower", "2:6: expected one of base, rover, either, none, found rower (did you mean rover?)"),
        ("role", "", "2:6: expected one of base, rover, either, none, found nothing"),
        ("arrives", "8:00", "2:7: expected a time of day, hours:minutes, like 08:30, or nothing, found 8:00 (did you"),
        ("arrives", "25:00", "2:7: expected a time of day, hours:minutes, like 08:30, or nothing, found 25:00"),
        ("promised", "12.30", "2:8: expected a time of day, hours:minutes, like 08:30, or nothing, found 12.30"),
        ("promised", "07:30", "2:8: expected a time after the arrival at 08:00, found 07:30"),
        (
            "support_until",
            "31/03/2026",
            "2:9: expected a date, year-month-day, like 2026-03-31 (ISO 8601), or nothing, found 31/03/2026: nobody",
        ),
        (
            "support_until",
            "3.4.26",
            "2:9: expected a date, year-month-day, like 2026-03-31 (ISO 8601), or nothing, found 3.4.26: nobody can",
        ),
        ("support_until", "2026-02-30", "2:9: expected a date, year-month-day, like 2026-03-31 (ISO 8601), or nothing"),
        ("note", '"a\nb"', "2:10: expected text on one line, found a\\x0ab"),
        ("note", "n" * 501, "2:10: expected at most 500 characters, found 501 characters"),
    ],
)
def test_a_cell_that_cannot_be_taken(column: str, text: str, said: str) -> None:
    told = mistakes(with_cell(column, text) if '"' not in text else with_cell(column, "@").replace("@", text))

    assert len(told) == 1
    assert told[0].startswith("roster.csv:" + said)


def test_a_serial_that_has_probably_lost_its_zeros() -> None:
    rows = [ROW.replace("007421530018", serial) for serial in ("007421530018", "007421530104", "7421530222")]

    (told,) = mistakes(*rows)
    assert told == (
        "roster.csv:4:1: expected 12 digits, as the other serials of this model have, found 7421530222, 10 digits: "
        "a spreadsheet has probably dropped the leading zeros; read it off the label"
    )


def test_serials_of_other_models_are_no_neighbours() -> None:
    assert mistakes(ROW, ROW.replace("0018", "0019"), "7421530,Osier,A trust,,,rover,,,,") == []


def test_a_doubled_serial_says_where_the_first_stands() -> None:
    assert mistakes(ROW, ROW.replace("0018", "0019"), ROW) == [
        "roster.csv:4:1: expected each serial once, found 007421530018 again; it stands in line 2 first"
    ]


def test_columns_unknown_doubled_and_missing() -> None:
    told = mistakes(ROW, head=HEAD.replace("customer", "custmer").replace("crew", "role"))

    assert told[0].startswith("roster.csv:1:3: expected one of the columns serial, model, ")
    assert told[0].endswith("found custmer (did you mean customer?)")
    assert told[1] == "roster.csv:1:6: expected each column once, found role again, which is column 5 too"
    assert told[2:] == [
        "roster.csv:1:0: expected a column customer; it may be left empty below, found no such column",
        "roster.csv:1:0: expected a column crew; it may be left empty below, found no such column",
    ]


@pytest.mark.parametrize(("mark", "name"), [(";", "semicolons"), ("\t", "tabs")])
def test_another_separator_is_reported(mark: str, name: str) -> None:
    roster = read_roster(f"{HEAD}\n{ROW}\n".replace(",", mark).encode())

    assert roster.mistakes == []
    assert roster.rows == read(ROW).rows
    assert [str(notice) for notice in roster.notices] == [f"roster.csv:1: read as separated by {name}, not commas"]


def test_another_encoding_is_reported() -> None:
    row = ROW.replace("Somebody", "Zoë")
    marked = read_roster(f"{HEAD}\r\n{row}\r\n".encode("utf-8-sig"))
    windows = read_roster(f"{HEAD}\r\n{row}\r\n".encode("cp1252"))

    assert marked.rows == windows.rows == read(row).rows
    assert [str(notice) for notice in marked.notices] == ["roster.csv: read as UTF-8 with a byte order mark"]
    assert [str(notice) for notice in windows.notices] == [
        "roster.csv:2: not UTF-8, read as Windows-1252; look at the accented letters, or save it as UTF-8"
    ]


def test_bytes_that_are_text_in_no_encoding_we_know() -> None:
    told = read_roster(f"{HEAD}\n".encode() + b"\x81,\xff\n").mistakes

    assert [str(m) for m in told] == [
        "roster.csv:2:0: expected text in UTF-8 or Windows-1252, found the byte 81 hex, no text in either"
    ]


def test_nul_bytes() -> None:
    told = read_roster(f"{HEAD}\n{ROW}\n".encode("utf-16-le")).mistakes

    assert [m.line for m in told] == [1]
    assert "saved as UTF-16" in str(told[0])


def test_a_quote_that_is_never_closed() -> None:
    assert mistakes(ROW, 'A1,"Millrace,A trust,,,rover,,,,') == [
        'roster.csv:3:0: expected a closing quote ("), found a quote that is opened in this line and never closed'
    ]


def test_a_row_with_too_many_cells() -> None:
    assert mistakes(ROW + "said yes, twice") == [
        "roster.csv:2:11: expected 10 cells, found 11: a cell that holds the separator needs quotes"
    ]


def test_an_empty_file_and_one_with_a_header_only() -> None:
    assert read_roster(b"").mistakes[0].found == "an empty file"
    assert read().mistakes == []
    assert read().rows == []


def test_ten_thousand_rows_in_reasonable_time() -> None:
    rows = [ROW.replace("007421530018", f"{number:012d}") for number in range(10_000)]
    rows[9_000] = rows[9_000].replace("rover", "rovr")

    began = time.monotonic()
    roster = read(*rows)

    assert time.monotonic() - began < 5
    assert len(roster.rows) == 9_999
    assert [mistake.line for mistake in roster.mistakes] == [9_002]


@given(st.binary(max_size=400))
def test_any_bytes_give_rows_or_mistakes(data: bytes) -> None:
    read_roster(data)
    read_roster(f"{HEAD}\n".encode() + data)


@given(st.text(max_size=60), st.sampled_from(COLUMNS))
def test_any_cell_gives_a_row_or_a_mistake_in_that_row(text: str, column: str) -> None:
    quoted = '"' + text.replace('"', '""') + '"'
    roster = read(with_cell(column, "@").replace("@", quoted))

    assert len(roster.rows) + bool(roster.mistakes) == 1
