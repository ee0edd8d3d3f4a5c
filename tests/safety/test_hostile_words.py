"""Whatever a unit or a person says, no output is steered by it: the real commands over a real record.

Sources: ECMA-48 (control functions; 8.3 CSI), Unicode Standard Annex 9 (bidirectional controls), OWASP CSV Injection.
"""

from __future__ import annotations

import csv
import io
import json
import stat
import subprocess
import sys
from html.parser import HTMLParser
from itertools import cycle
from pathlib import Path

import anyio
import pytest

from benchday.cli.fault import save_report
from benchday.domain.entries import Draft
from benchday.domain.kinds import (
    PowerRead,
    RecordingFailed,
    RecordingPreserved,
    RecordingsListed,
    SettingsSaved,
    UnitHeld,
    UnitIdentified,
    UnitRegistered,
)
from benchday.inputs.sample import write_sample
from benchday.logs import logger, set_up
from benchday.record.clock import DayClock
from benchday.record.journal import open_journal
from tests.inputs.conftest import small_image
from tests.safety.hostile import FORMULAS, MARKUP, PATHS, STEERS, steering

UNIT = "007421530018"
COMMAND = [sys.executable, "-m", "benchday.cli.main"]
NASTY = (*STEERS, MARKUP, *FORMULAS)


def entries() -> list[Draft]:
    """Return what a day with a hostile unit and a hostile list would have recorded."""
    words = cycle(NASTY)
    listed = [{"name": n, "bytes": 5, "sha256": None} for n in (*NASTY, *PATHS)]
    about = [
        UnitIdentified(
            serial=UNIT, model=next(words), hardware=next(words), mode="run", release=next(words),
            options=list(NASTY), term=next(words), by="driver",
        ),
        PowerRead(charge_percent=80, max_error_percent=2, full_mwh=1, temperature_dk=2931, external=True, by="driver"),
        RecordingsListed(recordings=listed),
        *(RecordingPreserved(name=n, bytes=5, sha256="ab" * 32) for n in (*NASTY, *PATHS)),
        *(RecordingFailed(name=n, bytes=5, why=n) for n in NASTY),
        SettingsSaved(when="before", settings={n: n for n in NASTY}, sha256="ab" * 32),
        *(UnitHeld(code=n, reason=n, lifts=n) for n in NASTY),
    ]  # fmt: skip
    drafts = [fact.draft(unit=UNIT, station=MARKUP, operator=STEERS[0]) for fact in about]
    for number, text in enumerate(NASTY):
        row = UnitRegistered(
            source=text, line=number, model=text, customer=text, crew=text, role="rover", release=text,
            support_until="2026-01-31", serviced="2024-06-16", made=None,
        )  # fmt: skip
        drafts.append(row.draft(unit=f"{text}{number}", operator=text))
    return drafts


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a real record of it all."""
    folder = tmp_path_factory.mktemp("hostile") / "record"

    async def fill() -> None:
        journal = open_journal(folder, "b1", DayClock(), simulated=False)
        try:
            await journal.append(entries())
        finally:
            await journal.close()

    anyio.run(fill)
    return folder


def said(*arguments: str, cwd: Path | None = None) -> str:
    """Call a command as a shell would; return all that it says."""
    made = subprocess.run([*COMMAND, *arguments], capture_output=True, timeout=600, check=False, cwd=cwd)
    assert b"Traceback" not in made.stderr, made.stderr.decode()
    assert made.returncode in (0, 3), made.stderr.decode()
    return (made.stdout + made.stderr).decode("utf-8")


@pytest.mark.parametrize("command", ["unit", "units", "due"])
@pytest.mark.parametrize("way", ["text", "--json"])
def test_no_command_lets_what_a_unit_said_steer_the_terminal(record: Path, command: str, way: str) -> None:
    """Steering characters are shown by their codes; in JSON they are escapes, and the value is what was said."""
    subject = ["unit", UNIT] if command == "unit" else [command]
    text = said(*subject, "--record", str(record), *([way] if way != "text" else []))
    assert steering(text) == []
    if way == "--json":
        assert STEERS[1] in json.dumps(json.loads(text), ensure_ascii=False)


@pytest.mark.parametrize("command", ["units", "due"])
def test_no_export_is_a_formula_to_a_spreadsheet(record: Path, command: str) -> None:
    """Each cell that would be one stands behind an apostrophe; nothing in it steers, or breaks a row."""
    text = said(command, "--record", str(record), "--csv")
    assert steering(text) == []
    rows = list(csv.reader(io.StringIO(text)))
    assert len(rows) >= len(NASTY)
    assert {len(row) for row in rows} == {len(rows[0])}
    assert [cell for row in rows for cell in row if cell.lstrip()[:1] in tuple("=+-@\uff1d\uff0b\uff0d\uff20")] == []
    assert any(FORMULAS[0] in cell for row in rows for cell in row)


def test_an_exported_register_is_its_owners(record: Path, tmp_path: Path) -> None:
    """It names customers."""
    said("units", "--record", str(record), "--export", str(tmp_path / "units.csv"))
    assert stat.S_IMODE((tmp_path / "units.csv").stat().st_mode) == 0o600


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()
        self.handlers: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.handlers += [name for name, _ in attrs if name.startswith("on")]


@pytest.mark.parametrize("command", ["layout", "forecast"])
def test_no_page_or_picture_takes_markup_from_a_file(tmp_path: Path, command: str) -> None:
    """A roster's cells and the day's name stand in the page as text; the file is its owner's."""
    day = tmp_path / "day"
    write_sample(day, 7, build_image=small_image, units=3)
    roster = day / "roster.csv"
    head, *rows = list(csv.reader(io.StringIO(roster.read_text(encoding="utf-8"))))
    for row in rows:
        row[head.index("customer")] = row[head.index("crew")] = row[head.index("note")] = MARKUP
    with roster.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([head, *rows])
    text = (day / "day.yaml").read_text(encoding="utf-8").splitlines()
    text[next(n for n, line in enumerate(text) if line.startswith("day:"))] = f"day: {json.dumps(MARKUP)}"
    (day / "day.yaml").write_text("\n".join(text) + "\n", encoding="utf-8")
    outputs = {"--html": tmp_path / "page.html"} | ({"--svg": tmp_path / "a.svg"} if command == "forecast" else {})
    more = ["--replications", "20"] if command == "forecast" else []
    said(command, str(day), *more, *(str(part) for pair in outputs.items() for part in pair))
    for path in outputs.values():
        page, tags = path.read_text(encoding="utf-8"), _Tags()
        tags.feed(page)
        assert not tags.seen & {"script", "img"}
        assert tags.handlers == []
        assert "&lt;script&gt;alert(1)" in page
        assert steering(page) == []
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


class Terminal(io.StringIO):
    """A terminal that keeps what is written to it."""

    def isatty(self) -> bool:
        """It is one."""
        return True


def test_no_line_of_a_log_is_steered_and_none_tells_a_secret() -> None:
    """Logged as lines for people or as JSON, with a traceback."""
    facts = {"words": "".join(STEERS), "listed": list(STEERS), "password": "heron", "api_token": "heron"}
    for out in (io.StringIO(), Terminal()):
        set_up(level=10, stream=out)
        logger().error("unit said", exc_info=ValueError(STEERS[0] + STEERS[4]), **facts)
        text = out.getvalue()
        assert "unit said" in text
        for colour in ("\x1b[0m", "\x1b[1m", "\x1b[2m", *(f"\x1b[{n}m" for n in range(30, 50))):
            text = text.replace(colour, "")  # what the program itself paints with
        assert steering(text) == []
        assert "heron" not in text
    set_up()


def test_a_report_of_a_fault_is_its_owners(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """It may quote what was being worked on."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert "A report is in" in save_report(ValueError("\ud800"))
    (report,) = tmp_path.rglob("*.txt")
    assert stat.S_IMODE(report.stat().st_mode) == 0o600
    assert stat.S_IMODE(report.parent.stat().st_mode) == 0o700
