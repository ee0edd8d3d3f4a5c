"""A supplier's list of support terms, and what of it gets into the day."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path

from benchday.domain.entries import GENESIS, Entry, Times
from benchday.domain.fold import DayState
from benchday.domain.plan import TermsList
from benchday.domain.plan_says import TERMS, plan_of, says_of, terms_of, without_personal
from benchday.inputs.changes import differences
from benchday.inputs.day import load_day, read_day
from benchday.inputs.source import digest
from benchday.inputs.terms_copy import ABOUT, COPY
from benchday.inputs.terms_csv import read_terms

SERIAL = "007421530018"
URL = "http://terms.example/list.csv"


def test_columns_in_any_order_others_left_out() -> None:
    """A supplier's list has columns of its own."""
    found = read_terms(b"Support Until;article;SERIAL\n2027-03-31;9;A1\n;9;A2\n", "terms.csv")
    assert found.terms == {"A1": "2027-03-31"}
    assert not found.mistakes
    assert [n.text for n in found.notices] == [
        "read as separated by semicolons, not commas",
        "left out, since these columns are not known here: article",
    ]


def test_encodings_are_recognised() -> None:
    """UTF-16 with its mark, UTF-8 with and without, Windows-1252."""
    text = "serial,support_until,who\r\nA1,2027-03-31,Zoë\r\n"
    for encoding, words in {
        "utf-16": "UTF-16 with a byte order mark",
        "utf-8-sig": "UTF-8 with a byte order mark",
        "utf-8": "UTF-8",
        "cp1252": "Windows-1252",
    }.items():
        found = read_terms(text.encode(encoding), "terms.csv")
        assert (found.terms, found.encoding, found.mistakes) == ({"A1": "2027-03-31"}, words, [])
    cut = read_terms(text.encode("utf-16")[:-1], "terms.csv")
    assert "UTF-16" in str(cut.mistakes[0])


def test_bad_rows_are_told_all_at_once() -> None:
    """With line and cell; a serial told twice must be told alike."""
    rows = "A1,2027-03-31\n1.23E+11,2027-03-31\nA2,31/03/2027\nA1,2027-03-31\nA1,2028-03-31\n"
    found = read_terms(f"serial,support_until\n{rows}".encode(), "terms.csv")
    assert [(m.line, m.column) for m in found.mistakes] == [(3, 1), (4, 2), (6, 2)]
    assert str(found.mistakes[2]) == (
        "terms.csv:6:2: expected one day for each serial; line 2 says 2027-03-31 of A1, found 2028-03-31"
    )


def test_a_list_without_its_columns() -> None:
    """Nothing is taken from a file that is something else."""
    found = read_terms(b"<html>,</html>\nA1,2027-03-31\n", "terms.csv")
    assert [m.expected for m in found.mistakes] == ["a column serial", "a column support_until"]
    assert found.terms == {}


def name_list(folder: Path, of: str) -> None:
    """Name a list in day.yaml."""
    path = folder / "day.yaml"
    kept = [x for x in path.read_text(encoding="utf-8").splitlines() if not x.startswith("support_terms:")]
    text = "\n".join([*kept, "support_terms:", "  supplier: Fenmark Supplies", f"  {of}", ""])
    path.write_text(text, encoding="utf-8")


def with_file(folder: Path, rows: str) -> Path:
    """Put a list into the day's folder."""
    name_list(folder, "file: terms.csv")
    path = folder / "terms.csv"
    path.write_text(f"serial,support_until\n{rows}", encoding="utf-8")
    at = datetime(2026, 6, 1, 12, tzinfo=UTC).timestamp()
    os.utime(path, (at, at))
    return path


def with_copy(folder: Path, rows: str, **about: str | None) -> None:
    """Put a copy into the day's folder as if it had been fetched."""
    name_list(folder, f"url: {URL}")
    data = f"serial,support_until\n{rows}".encode()
    (folder / COPY).write_bytes(data)
    said: dict[str, str | None] = {"fetched": "2026-05-20", "url": URL, "sha256": digest(data)}
    (folder / ABOUT).write_text(json.dumps(said | about), encoding="utf-8")


def test_a_file_of_the_day(day: Path) -> None:
    """Only what it says of units on the roster gets into the plan, with the day of the file."""
    with_file(day, f"{SERIAL},2027-03-31\nNOT-OURS,2027-03-31\n")
    plan = load_day(day)
    assert plan.terms == TermsList("Fenmark Supplies", "2026-06-01", {SERIAL: "2027-03-31"})
    assert plan.digests[TERMS] == digest((day / "terms.csv").read_bytes())


def test_mistakes_of_the_file_are_the_days(day: Path) -> None:
    """The day does not begin with a list that cannot be read as it stands."""
    with_file(day, f"{SERIAL},31.3.27\n")
    assert [(m.file, m.line, m.column) for m in read_day(day).mistakes] == [("terms.csv", 2, 2)]
    (day / "terms.csv").unlink()
    (told,) = read_day(day).mistakes
    assert told.file == "day.yaml"
    assert told.found == "terms.csv: no such file"


def test_lost_leading_zeros_are_noted(day: Path) -> None:
    """The list may be right about another unit, so it is no mistake."""
    with_file(day, f"{SERIAL.lstrip('0')},2027-03-31\n")
    outcome = read_day(day)
    assert outcome.required().terms == TermsList("Fenmark Supplies", "2026-06-01", {})
    assert any("dropped the leading zeros" in n.text for n in outcome.notices)


def test_the_last_copy(day: Path) -> None:
    """Used as it was fetched; where the last attempt failed, that is said."""
    with_copy(day, f"{SERIAL},2027-03-31\n")
    assert load_day(day).terms == TermsList("Fenmark Supplies", "2026-05-20", {SERIAL: "2027-03-31"})

    about = json.loads((day / ABOUT).read_text(encoding="utf-8"))
    (day / ABOUT).write_text(json.dumps(about | {"failed": "the server answered 500"}), encoding="utf-8")
    outcome = read_day(day)
    assert outcome.required().terms == TermsList(
        "Fenmark Supplies", "2026-05-20", {SERIAL: "2027-03-31"}, from_copy=True
    )
    assert [n.text for n in outcome.notices if n.file == COPY] == [
        "last fetched 2026-05-20; could not be fetched now: the server answered 500"
    ]


def test_no_copy_that_can_be_used(day: Path) -> None:
    """Never fetched, of another address, or changed since: terms are unknown, and the day begins all the same."""
    with_copy(day, f"{SERIAL},2027-03-31\n")
    (day / COPY).write_text("serial,support_until\n", encoding="utf-8")
    changed = read_day(day)
    assert changed.required().terms is None
    assert any("its digest is another" in n.text for n in changed.notices)
    (day / ABOUT).write_text("{", encoding="utf-8")
    assert any(f"{ABOUT} cannot be read" in n.text for n in read_day(day).notices)
    (day / ABOUT).unlink()
    assert any("it was never fetched: fetch it with `benchday terms`" in n.text for n in read_day(day).notices)


def test_a_copy_of_another_address(day: Path) -> None:
    """Whoever changes the address wants the other list."""
    with_copy(day, f"{SERIAL},2027-03-31\n", url="http://other.example/list.csv")
    outcome = read_day(day)
    assert outcome.required().terms is None
    assert any("another address, http://other.example/list.csv" in n.text for n in outcome.notices)


def test_what_was_recorded_comes_back(day: Path) -> None:
    """A day that is taken up again has the terms it began with, whatever the file says by then."""
    path = with_file(day, f"{SERIAL},2027-03-31\n")
    plan = load_day(day)
    path.unlink()
    entry = terms_of(plan)
    assert entry is not None
    state = DayState(inputs={i.name: {"says": i.says, "sha256": i.sha256} for i in says_of(plan)})
    state.apply(Entry.forge(entry.draft(), bench="b1", seq=1, times=Times(1, 2, 3), prev=GENESIS))
    again = plan_of(state.inputs)
    assert (again.terms, again.digests[TERMS]) == (plan.terms, plan.digests[TERMS])
    assert without_personal(plan).terms == plan.terms


def test_a_changed_list_is_a_difference(day: Path) -> None:
    """It is offered like an edit of any other file."""
    path = with_file(day, f"{SERIAL},2027-03-31\n")
    before = load_day(day)
    path.write_text(f"serial,support_until\n{SERIAL},2028-03-31\n", encoding="utf-8")
    assert differences(before, load_day(day)) == (f"support terms: unit {SERIAL}: was 2027-03-31 and is 2028-03-31",)
    path.write_text("serial,support_until\n", encoding="utf-8")
    assert differences(before, load_day(day)) == (f"support terms: unit {SERIAL} is not told any more",)
