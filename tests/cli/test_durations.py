"""The command about durations: tables, document, picture, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import anyio
import pytest

from benchday.cli.documents import DOCUMENTS
from benchday.cli.durations_picture import picture
from benchday.domain.entries import Draft
from benchday.planning.calibration import calibration
from benchday.record.clock import DayClock
from benchday.record.journal import open_journal
from tests.cli.test_main import called
from tests.planning.shop import playbook
from tests.planning.taught import Teaching

Captured = pytest.CaptureFixture[str]
Patch = pytest.MonkeyPatch
SVG = "{http://www.w3.org/2000/svg}"
MINUTE_US = 60_000_000


def taught(*, simulated: bool) -> Teaching:
    """Tell two days: identify takes three times the playbook's usual, a copy is cut once, writes are as it says."""
    shop = Teaching()
    book = playbook()
    for _ in range(2):
        shop.day("U1", simulated=simulated, says=book)
        for number in range(3):
            shop.step("identify", 1.5)
            if number == 0:
                shop.begin("preserve")
                shop.end("preserve", 1, outcome="cut")
            shop.preserve(2 + number, (2 + number) * 10**8)
            shop.step("write", 17)
    return shop


def keep(record: Path, shop: Teaching, *, simulated: bool) -> None:
    """Write told entries into a record."""
    drafts = [Draft(e.kind, e.facts, e.unit, e.station, e.operator, e.v) for e in shop.entries]

    async def write() -> None:
        journal = open_journal(record, "b1", DayClock(), simulated=simulated)
        await journal.append(drafts)
        await journal.close()

    anyio.run(write)


@pytest.fixture
def real(tmp_path: Path, monkeypatch: Patch) -> Path:
    """Keep a real record, with nothing else in the folder."""
    monkeypatch.chdir(tmp_path)
    keep(tmp_path / "record", taught(simulated=False), simulated=False)
    return tmp_path / "record"


def document(monkeypatch: Patch, capsys: Captured, *more: str) -> dict[str, Any]:
    """Call it with --json and check the document."""
    capsys.readouterr()
    assert called(monkeypatch, "durations", *more, "--json") == 0
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    DOCUMENTS["durations"].model_validate(told)
    return told


def step_of(told: dict[str, Any], name: str) -> dict[str, Any]:
    """Return a step of the document."""
    found: dict[str, Any] = next(s for s in told["steps"] if s["step"] == name)
    return found


def test_the_document(real: Path, monkeypatch: Patch, capsys: Captured) -> None:
    """What was learnt of each step, in whole microseconds and thousandths."""
    told = document(monkeypatch, capsys, "--record", str(real))
    assert (told["benchday"], told["simulated"], told["learnt_from"], told["days"]) == ("durations/1", False, "real", 2)
    assert [s["step"] for s in told["steps"]] == [s.step.value for s in playbook().service]
    identify = step_of(told, "identify")
    assert (identify["records"], identify["median_us"], identify["disagrees_permille"]) == (6, 90_000_000, 3000)
    assert identify["p50_us"] < identify["p80_us"] < identify["p95_us"]
    # 30 s of the playbook weigh like one record beside six of 90 s.
    assert 70_000_000 < identify["p50_us"] < 90_000_000
    preserve = step_of(told, "preserve")
    assert preserve["again"] == 2
    assert preserve["retry_permille"] == round(1000 * 2.5 / 16)
    assert preserve["usual_bytes"] == pytest.approx((2 * 3 * 4) ** (1 / 3) * 1e8, rel=1e-6)
    assert preserve["per_gigabyte_us"] == pytest.approx(10 * MINUTE_US, rel=0.05)
    connect = step_of(told, "connect")
    assert (connect["records"], connect["median_us"], connect["retry_permille"]) == (0, None, None)


def test_the_coverage(real: Path, monkeypatch: Patch, capsys: Captured) -> None:
    """Overall and by step, how often each stated share held."""
    told = document(monkeypatch, capsys, "--record", str(real))
    assert told["overall"]["predictions"] == 18
    write = next(c for c in told["coverage"] if c["step"] == "write")
    at_80 = next(s for s in write["shares"] if s["stated_permille"] == 800)
    assert (write["predictions"], at_80["held"], at_80["observed_permille"]) == (6, 6, 1000)
    assert at_80["error_permille"] == 163


def test_the_tables(real: Path, monkeypatch: Patch, capsys: Captured) -> None:
    """Points, records, what is used, marks, bars; within 80 columns."""
    assert called(monkeypatch, "durations", "--record", str(real)) == 0
    out = capsys.readouterr().out
    assert "SIMULATED" not in out
    assert "Learnt from 2 days" in out
    (identify,) = (line for line in out.splitlines() if line.startswith("  identify"))
    assert identify.split()[1:4] == ["0.2/0.5/1", "6", "1.5"]
    assert identify.endswith("!")
    assert "! identify: half of the records take at least 3.0 times the playbook's usual" in out
    assert "preserve: for 288.4 MB, the usual size here;" in out
    assert "minutes for each GB" in out
    assert "How often what was stated held: 18 steps" in out
    assert max(len(line) for line in out.splitlines() if not line.startswith("    !")) <= 80


def test_a_simulated_record(tmp_path: Path, monkeypatch: Patch, capsys: Captured) -> None:
    """It teaches only when asked, and says at once that it is simulated."""
    monkeypatch.chdir(tmp_path)
    record = tmp_path / "record"
    keep(record, taught(simulated=True), simulated=True)
    told = document(monkeypatch, capsys, "--record", str(record))
    assert (told["learnt_from"], told["days"], step_of(told, "identify")["records"]) == ("nothing", 0, 0)
    asked = document(monkeypatch, capsys, "--record", str(record), "--simulated")
    assert (asked["learnt_from"], asked["days"], step_of(asked, "identify")["records"]) == ("simulated", 2, 6)
    assert called(monkeypatch, "durations", "--record", str(record)) == 0
    out = capsys.readouterr().out
    assert out.startswith("SIMULATED: these instruments do not exist.\nNothing is learnt from simulated days")
    assert "Nothing was predicted yet" in out


def test_a_real_record_needs_no_asking(real: Path, monkeypatch: Patch, capsys: Captured) -> None:
    """--simulated is refused there."""
    assert called(monkeypatch, "durations", "--record", str(real), "--simulated") == 2
    assert "is real and its days teach without --simulated" in capsys.readouterr().err


def test_no_record(tmp_path: Path, monkeypatch: Patch, capsys: Captured) -> None:
    """It is said where none is."""
    monkeypatch.chdir(tmp_path)
    assert called(monkeypatch, "durations", "--record", str(tmp_path / "none")) == 1
    err = capsys.readouterr().err
    assert "none" in err
    assert "Traceback" not in err


def test_the_picture(real: Path, monkeypatch: Patch, capsys: Captured) -> None:
    """A point for each share, where it belongs; well-formed, without scripts or anything from outside."""
    file = real.parent / "held.svg"
    told = document(monkeypatch, capsys, "--record", str(real), "--svg", str(file))
    assert told["svg"] == str(file)
    root = ET.fromstring(file.read_text(encoding="utf-8"))  # noqa: S314 - our own picture
    assert root.tag == f"{SVG}svg"
    circles = root.findall(f"{SVG}circle")
    shares = told["overall"]["shares"]
    assert [float(c.get("cx", "")) for c in circles] == [
        pytest.approx(70 + 0.36 * s["stated_permille"], abs=0.1) for s in shares
    ]
    assert [float(c.get("cy", "")) for c in circles] == [
        pytest.approx(420 - 0.36 * s["observed_permille"], abs=0.3) for s in shares
    ]
    assert {e.tag.removeprefix(SVG) for e in root.iter()} <= {
        *("svg", "title", "desc", "metadata", "style", "rect", "line", "text", "polyline", "circle"),
    }
    # The same call draws it anew, over itself.
    assert called(monkeypatch, "durations", "--record", str(real), "--svg", str(file)) == 0
    assert f"The picture is in {file}." in capsys.readouterr().out


def test_a_picture_without_predictions() -> None:
    """It has its frame and says so."""
    root = ET.fromstring(picture(calibration([]), "a <record> & more\x1b[2J", simulated=True))  # noqa: S314 - ours
    assert root.findtext(f"{SVG}desc") == "Nothing was predicted yet."
    assert root.findall(f"{SVG}circle") == []
    texts = [text.text or "" for text in root.findall(f"{SVG}text")]
    assert texts[0].startswith("SIMULATED")
    assert any("a <record> & more" in text for text in texts)
    assert not any("\x1b" in text for text in texts)


@pytest.mark.parametrize("there", ["a letter", "<svg xmlns='http://www.w3.org/2000/svg'/>"])
def test_no_other_file_is_replaced(real: Path, there: str, monkeypatch: Patch, capsys: Captured) -> None:
    """What stood there before and is no such picture stays."""
    file = real.parent / "mine.svg"
    file.write_text(there, encoding="utf-8")
    assert called(monkeypatch, "durations", "--record", str(real), "--svg", str(file)) == 2
    assert "it is left as it is; name another file" in capsys.readouterr().err
    assert file.read_text(encoding="utf-8") == there


def test_a_picture_that_cannot_be_written(real: Path, monkeypatch: Patch, capsys: Captured) -> None:
    """A folder that is not there is said, without a trace of the program."""
    file = real.parent / "nowhere" / "held.svg"
    assert called(monkeypatch, "durations", "--record", str(real), "--svg", str(file)) == 2
    err = capsys.readouterr().err
    assert "name another file with --svg FILE" in err
    assert "Traceback" not in err
