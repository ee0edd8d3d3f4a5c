"""The register at the command line: shown, read in, written; who is due; the supplier's terms."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import anyio
import pytest

from benchday.cli.documents import DOCUMENTS
from benchday.domain.entries import Draft
from benchday.domain.kinds import DayBegun, InputRead, UnitExpected, UnitIdentified, UnitReady
from benchday.record.clock import DayClock
from benchday.record.journal import open_journal
from benchday.record.reading import open_reader
from tests.cli.test_main import called

LIST = """serial;model;customer;crew;release;support_until;serviced;colour
007421;Millrace;Fen Trust;Avocet;2.8;2028-12-31;2026-06-16;red
007422;Millrace;Fen Trust;Avocet;2.10;2026-01-31;2024-06-16;blue
WS-1;Weir;=Fen;Knot;;;;
"""
SERIALS = ["WS-1", "007421", "007422"]


@pytest.fixture
def listed(tmp_path: Path) -> Path:
    """Write a list of three units."""
    path = tmp_path / "units.csv"
    path.write_text(LIST, encoding="utf-8")
    return path


@pytest.fixture
def record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Name a record that is not there yet, in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path / "record"


Captured = pytest.CaptureFixture[str]


def document(monkeypatch: pytest.MonkeyPatch, capsys: Captured, *arguments: str, status: int = 0) -> dict[str, Any]:
    """Call a command with --json and check its document against the schema."""
    capsys.readouterr()
    assert called(monkeypatch, *arguments, "--json") == status
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert told["benchday"] == f"{arguments[0]}/1"
    DOCUMENTS[arguments[0]].model_validate(told)
    return told


def read_in(monkeypatch: pytest.MonkeyPatch, record: Path, file: Path) -> int:
    """Read a list in."""
    return called(monkeypatch, "units", "--record", str(record), "--import", str(file), "--operator", "Ines Okafor")


def entries(record: Path) -> list[tuple[str, str | None, str | None]]:
    """Return bench, unit and operator of every entry about a list."""
    with open_reader(record) as reader:
        return [(e.bench, e.unit, e.operator) for e in reader.entries(("unit_registered",))]


def served(record: Path, *, simulated: bool) -> None:
    """Write a day with one unit into a record."""
    image = {
        "file": "m.fen", "release": "3.1", "issued": "2026-05-11", "sha256": "0" * 64, "bytes": 9,
        "models": ["Millrace"], "source": "maker", "approved_by": "Ines",
    }  # fmt: skip
    begun = DayBegun(
        day="Day",
        date="2026-06-16",
        opens_us=0,
        closes_us=1,
        time_zone="UTC",
        simulated=simulated,
        seed=1,
        speed_milli=1000,
    )
    expected = UnitExpected(
        model="Millrace", customer="Levels Board", crew="Dunlin", role="rover", arrives_us=None, promised_us=None,
        support_until="2026-08-31", contact_ref="1:2", note_ref=None, position=0,
    )  # fmt: skip
    identified = UnitIdentified(
        serial="D1", model="Millrace", hardware="", mode="run", release="2.10", options=[], term=None, by="hand"
    )
    drafts: list[Draft] = [
        begun.draft(),
        InputRead(name="images.yaml", sha256="", says={"images": [image]}).draft(),
        expected.draft(unit="D1"),
        identified.draft(unit="D1"),
        UnitReady(words="").draft(unit="D1"),
    ]

    async def write() -> None:
        journal = open_journal(record, "b1", DayClock(), simulated=simulated)
        await journal.append(drafts)
        await journal.close()

    anyio.run(write)


def test_a_list_is_read_in_and_shown(
    record: Path, listed: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    """What was recognised is said; the entries bear a name; a new record is real."""
    assert read_in(monkeypatch, record, listed) == 0
    assert capsys.readouterr().out.splitlines() == [
        (
            "units.csv: read as UTF-8, separated by semicolons, columns serial, model, customer, crew, release, "
            "support_until, serviced; left out: colour"
        ),
        "  note: units.csv:1: read as separated by semicolons, not commas",
        "  note: units.csv:1: left out, since these columns are not known here: colour",
        "3 units read in",
    ]
    assert entries(record) == [("register", s, "Ines Okafor") for s in ("007421", "007422", "WS-1")]

    assert called(monkeypatch, "units", "--record", str(record)) == 0
    head, *rows, last = capsys.readouterr().out.splitlines()
    assert re.split(r"  +", head)[:6] == ["serial", "model", "customer", "crew", "release", "since"]
    assert [row.split()[0] for row in rows] == SERIALS
    assert "2028-12-31 (imported)" in rows[1]
    assert last == f"3 units in {record}"

    told = document(monkeypatch, capsys, "units", "--record", str(record))
    assert (told["simulated"], [u["serial"] for u in told["units"]]) == (False, SERIALS)


def test_a_list_read_in_twice_adds_nothing(
    record: Path, listed: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    """Only rows that say something else are entries."""
    read_in(monkeypatch, record, listed)
    listed.write_text(LIST.replace("Knot", "Dunlin"), encoding="utf-8")
    told = document(
        monkeypatch, capsys, "units", "--record", str(record), "--import", str(listed), "--operator", "Ines Okafor"
    )
    assert (told["imported"]["rows"], told["imported"]["added"]) == (3, 1)
    assert len(entries(record)) == 4
    assert told["units"][0]["crew"] == "Dunlin"


def test_what_is_written_is_read_in_again(
    record: Path, listed: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    """The register of the one record is that of the other."""
    read_in(monkeypatch, record, listed)
    one, other, second = record.parent / "one.csv", record.parent / "other.csv", record.parent / "second"
    assert called(monkeypatch, "units", "--record", str(record), "--export", str(one)) == 0
    assert f"3 units written to {one}" in capsys.readouterr().out
    assert b"\r\nWS-1,Weir,'=Fen,Knot,,,,,\r\n" in one.read_bytes()
    assert read_in(monkeypatch, second, one) == 0
    assert called(monkeypatch, "units", "--record", str(second), "--export", str(other)) == 0
    assert one.read_bytes() == other.read_bytes()


def test_a_list_with_mistakes_leaves_nothing(
    record: Path, listed: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    """All mistakes are told, and not even a record is made."""
    listed.write_text(LIST.replace("007421", "7.421E+03").replace("2026-01-31", "31/01/2026"), encoding="utf-8")
    assert read_in(monkeypatch, record, listed) == 2
    told = capsys.readouterr().err
    assert "units.csv:2:1: expected all digits of the serial" in told
    assert "units.csv:3:6: expected a date" in told
    assert not record.exists()


def test_nobody_reads_in_without_a_name(
    record: Path, listed: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    """The name stands in the record."""
    assert called(monkeypatch, "units", "--record", str(record), "--import", str(listed)) == 2
    assert "--operator NAME" in capsys.readouterr().err
    assert called(monkeypatch, "units", "--record", str(record), "--operator", "Ines") == 2
    assert "--import FILE" in capsys.readouterr().err
    assert called(monkeypatch, "units", "--record", str(record), "--import", "none.csv", "--operator", "Ines") == 2
    assert "none.csv cannot be read: No such file" in capsys.readouterr().err


def test_a_record_in_use_takes_nothing(
    record: Path, listed: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    """It says who has it; reading goes on all the while."""
    served(record, simulated=False)

    async def while_open() -> tuple[int, int]:
        journal = open_journal(record, "b1", DayClock(), simulated=False)
        try:
            return (
                await anyio.to_thread.run_sync(read_in, monkeypatch, record, listed),
                await anyio.to_thread.run_sync(called, monkeypatch, "units", "--record", str(record)),
            )
        finally:
            await journal.close()

    assert anyio.run(while_open) == (1, 0)
    assert re.search(r"is being written by .+ \(process \d+ on .+\)", capsys.readouterr().err)
    assert entries(record) == []


def test_a_simulated_record_stays_one(
    record: Path, listed: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    """And says so in everything that it shows; its units do not get into a real one."""
    served(record, simulated=True)
    assert read_in(monkeypatch, record, listed) == 0
    assert capsys.readouterr().out.startswith("SIMULATED")
    assert document(monkeypatch, capsys, "units", "--record", str(record))["simulated"] is True
    for arguments in (["units"], ["due"]):
        assert called(monkeypatch, *arguments, "--record", str(record), "--csv") == 0
        head, *rows = csv.reader(io.StringIO(capsys.readouterr().out))
        assert {row[head.index("simulated")] for row in rows} == {"SIMULATED"}

    written = record.parent / "written.csv"
    assert called(monkeypatch, "units", "--record", str(record), "--export", str(written)) == 0
    assert read_in(monkeypatch, record.parent / "real", written) == 2
    assert "the two never mix" in capsys.readouterr().err


def test_the_record_of_the_current_day(
    day: Path, listed: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    """In a day's folder its record is meant, which is of the day's sort from the first entry on."""
    monkeypatch.chdir(day)
    assert called(monkeypatch, "units", "--import", str(listed), "--operator", "Ines Okafor") == 0
    assert called(monkeypatch, "units") == 0
    assert "SIMULATED" in capsys.readouterr().out


def test_no_record(record: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> None:
    """Nothing to show is not the same as nothing there."""
    for command in ("units", "due"):
        assert called(monkeypatch, command, "--record", str(record)) == 1
        assert f"there is no record at {record}" in capsys.readouterr().err
        assert called(monkeypatch, command, "--record", str(record), "--json", "--csv") == 2


def test_who_is_due(record: Path, listed: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> None:
    """A simulated record has its own time, so what is due does not change with the calendar."""
    served(record, simulated=True)
    read_in(monkeypatch, record, listed)
    told = document(monkeypatch, capsys, "due", "--record", str(record))
    assert (told["on"], told["within_days"], told["images_on"]) == ("2026-06-16", 90, "2026-06-16")
    assert [u["serial"] for u in told["behind"]] == ["007421", "D1"]
    assert [u["serial"] for u in told["after_renewal"]] == ["007422"]
    assert [(u["serial"], u["days"]) for u in told["ending"]] == [("D1", 76)]
    assert [u["serial"] for u in told["overdue"]] == ["007422"]
    assert [(i["crew"], i["gain"]) for i in told["invite"]] == [("Dunlin", ["D1"]), ("Avocet", ["007421"])]
    assert document(monkeypatch, capsys, "due", "--record", str(record), "--within", "75")["ending"] == []

    assert called(monkeypatch, "due", "--record", str(record)) == 0
    text = capsys.readouterr().out
    assert "On 2026-06-16, 4 units, compared with the image list of 2026-06-16" in text
    assert "   1 Levels Board, crew Dunlin: 1 of 1 unit would get a newer release (Millrace 3.1); the support" in text
    assert (
        "Overdue for service: 1\n  007422 Millrace (Fen Trust, Avocet): last served on 2024-06-16, 730 days ago" in text
    )


def say_terms(day: Path, line: str) -> None:
    """Let day.yaml name another list of support terms."""
    path = day / "day.yaml"
    text, changed = re.subn(
        r"^support_terms:.*$|\Z", line, path.read_text(encoding="utf-8"), count=1, flags=re.MULTILINE
    )
    assert changed
    path.write_text(text, encoding="utf-8")


def test_terms_against_the_roster(day: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> None:
    """For each unit what the roster and the list say, and whether that is the same."""
    say_terms(day, "")
    assert called(monkeypatch, "terms", str(day)) == 2
    assert "day.yaml names no list of support terms" in capsys.readouterr().err
    say_terms(day, "support_terms: {supplier: Fenmark Supplies, file: terms.csv}")
    with (day / "roster.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    known = [row for row in rows if row["support_until"]]
    same, other = known[0], known[1]
    lines = f"serial,support_until\n{same['serial']},{same['support_until']}\n{other['serial']},2031-01-31\n"
    (day / "terms.csv").write_text(lines, encoding="utf-8")

    told = document(monkeypatch, capsys, "terms", str(day))
    says = {u["serial"]: u["says"] for u in told["units"]}
    assert (told["supplier"], told["source"], told["how"]) == ("Fenmark Supplies", "terms.csv", "file")
    assert (says[same["serial"]], says[other["serial"]], len(says)) == ("agree", "differ", len(rows))
    assert set(says.values()) <= {"agree", "differ", "only roster", "neither"}
    assert called(monkeypatch, "terms", str(day)) == 0
    assert f"{len(rows)} units on the roster, 1 told differently" in capsys.readouterr().out


def test_terms_that_cannot_be_fetched(day: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> None:
    """Never fetched and nobody there: it is said, and the command could not finish."""
    say_terms(day, 'support_terms: {supplier: Fenmark Supplies, url: "http://127.0.0.1:9/list.csv"}')
    told = document(monkeypatch, capsys, "terms", str(day), status=1)
    assert (told["how"], told["as_of"]) == ("none", None)
    assert told["notices"][0].startswith("could not be fetched: 127.0.0.1: ")
