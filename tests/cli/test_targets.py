"""targets: three tables before the day, for the technician and the manager; the document; the exit status."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from benchday.cli.commands.targets import targets
from benchday.cli.commands.units import Asked, units
from benchday.cli.documents_targets import TargetsDocument
from benchday.domain.errors import InputError
from benchday.planning.target import ReasonCode

Told = pytest.CaptureFixture[str]


@pytest.fixture
def known(day: Path, monkeypatch: pytest.MonkeyPatch, capsys: Told) -> Path:
    """Give the sample day with a record that knows its units, as the list beside it says."""
    monkeypatch.chdir(day)
    units(Asked(read_in=Path("units.csv"), operator="Ines Halloran"))
    capsys.readouterr()
    return day


def document(day: Path, capsys: Told, on: str | None = None, status: int = 0) -> TargetsDocument:
    """Run the command; return its document."""
    assert targets(day, on, None, as_json=True, as_csv=False) == status
    return TargetsDocument.model_validate_json(capsys.readouterr().out)


def test_per_crew_and_unit_what_it_gets_and_why(known: Path, capsys: Told) -> None:
    assert targets(known, None, None, as_json=False, as_csv=False) == 0
    told = capsys.readouterr().out
    assert "SIMULATED" in told.splitlines()[0]
    for line in (
        (
            "WS-41-00297   Weirstone  base    2.6 -> 2.9          support ended 2026-03-31, before 2.10 was issued "
            "(2026-05-11): newest allowed is 2.9"
        ),
        "007421530104  Millrace   rover   2.6 -> 2.9          kept at 2.9 so that base and rovers work together",
        (
            "007421529960  Millrace   base    2.4 -> 2.6 -> 2.10  2.10 is the newest release for Millrace; must pass "
            "through 2.6 first (erases recordings, release)"
        ),
        "TL7741C       Tiller     none    2.2 stays           stays on 2.2, as the pin of unit TL7741C",
    ):
        assert line in told
    assert told.index("\nAvocet") < told.index("\nCurlew") < told.index("\nWhat renewing support terms would buy")
    assert "2026-08-31  007421530415 (Whimbrel), in 76 days" in told


def test_what_renewing_would_buy_comes_first_by_units(known: Path, capsys: Told) -> None:
    found = document(known, capsys)
    (curlew,) = found.renewals
    assert (curlew.name, curlew.renew, curlew.units, curlew.crews) == ("Curlew", ["WS-41-00297"], 2, 1)
    assert curlew.otherwise == {"WS-41-00297": "2.9", "007421530104": "2.9"}
    assert curlew.then == {"WS-41-00297": "2.10", "007421530104": "2.10"}
    assert targets(known, None, None, as_json=False, as_csv=False) == 0
    assert (
        "Curlew: 2 units more on the newest release, the whole crew, by renewing WS-41-00297" in capsys.readouterr().out
    )


def test_what_needs_a_person_says_what_would_settle_it(known: Path, capsys: Told) -> None:
    asked = {tuple(d.units): d for d in document(known, capsys).decisions}
    term = asked["OS8812-0588",]
    assert (
        "the list of Quillfen service desk (2026-06-08) says 2027-04-30 and the roster says 2026-04-30" in term.question
    )
    assert term.clears.startswith("those who tell the support term agree")
    unknown = asked["GN2207-118",]
    assert (unknown.check, unknown.answer) == ("support term", "ask")


def test_the_contract_of_the_document(known: Path, capsys: Told) -> None:
    targets(known, None, None, as_json=True, as_csv=False)
    told = json.loads(capsys.readouterr().out)
    assert next(iter(told)) == "benchday"
    assert told["benchday"] == "targets/1"
    codes = {code.value for code in ReasonCode}
    for unit in told["units"]:
        assert {"now", "target", "route", "erases", "reason_code", "reason", "findings"} <= set(unit)
        assert unit["reason_code"] in codes
        assert unit["route"] == [] or unit["erases"] == ["recordings", "release"]


def test_another_day_knows_other_releases(known: Path, capsys: Told) -> None:
    """Before 2.10 was issued, and long after every term has ended."""
    early = {u.serial: u.target for u in document(known, capsys, "2026-05-01").units}
    assert early["007421530018"] == "2.9"
    late = document(known, capsys, "2030-01-01")
    assert late.on == "2030-01-01"
    assert {d.check for d in late.decisions} >= {"support term"} or late.renewals


def test_units_that_nobody_has_read_yet(day: Path, capsys: Told) -> None:
    found = document(day, capsys)
    assert {u.now for u in found.units} == {None}
    assert [d for d in found.decisions if d.check == "route"] == []
    assert targets(day, None, None, as_json=False, as_csv=False) == 0
    assert "? on 19 units: what runs on it is read on the day, there is no record yet." in capsys.readouterr().out


def test_a_row_for_each_unit(known: Path, capsys: Told) -> None:
    assert targets(known, None, None, as_json=False, as_csv=True) == 0
    rows = {r["serial"]: r for r in csv.DictReader(io.StringIO(capsys.readouterr().out))}
    assert len(rows) == 19
    assert (rows["007421529960"]["route"], rows["007421529960"]["now"]) == ("2.6 > 2.10", "2.4")
    assert {r["simulated"] for r in rows.values()} == {"SIMULATED"}


def test_a_finding_that_stops_ends_with_three(known: Path, capsys: Told) -> None:
    """A model for which the store holds nothing."""
    images = known / "images" / "images.yaml"
    entries = images.read_text(encoding="utf-8").split("  - file:")
    kept = [entry for entry in entries if "models: [Tiller]" not in entry]
    images.write_text("  - file:".join(kept), encoding="utf-8")
    found = document(known, capsys, status=3)
    stops = [d for d in found.decisions if d.answer == "stop"]
    assert found.decisions[: len(stops)] == stops, "what stops comes first"
    assert sorted(serial for d in stops for serial in d.units) == ["TL7730A"]
    assert {u.reason_code for u in found.units if u.serial == "TL7730A"} == {ReasonCode.NO_IMAGE}
    assert targets(known, None, None, as_json=False, as_csv=False) == 3
    assert "STOP TL7730A: the image store holds no release for Tiller" in capsys.readouterr().out


@pytest.mark.parametrize("on", ["2026-13-01", "tomorrow", "16/06/2026"])
def test_no_such_day(known: Path, on: str) -> None:
    with pytest.raises(InputError, match="expected a date, year-month-day"):
        targets(known, on, None, as_json=False, as_csv=False)


def test_one_form_at_a_time(known: Path) -> None:
    with pytest.raises(InputError, match="either --json or --csv"):
        targets(known, None, None, as_json=True, as_csv=True)
