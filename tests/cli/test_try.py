"""try: everything that reads, nothing that changes the unit; what came out, and what was on the line."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchday.cli.commands.try_playbook import TryOptions, try_playbook
from benchday.cli.conduct import status_of
from benchday.cli.documents_try import TryDocument
from tests.devices.declared import shipped_text
from tests.simulators.stranger import SERIAL, Process, unit

Told = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def gantry(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Process]:
    """Give a Gantry that stays on."""
    folder = tmp_path_factory.mktemp("try")
    with unit("Gantry", folder / SERIAL) as process:
        process.hand(do="external power", on=True)
        process.wait_for("hands")
        yield process


def playbook(folder: Path, name: str = "gantry", *changes: tuple[str, str]) -> Path:
    """Write a shipped playbook with changes."""
    text = shipped_text(name)
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    path = folder / f"{name}.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_everything_that_reads_and_nothing_that_changes(gantry: Process, tmp_path: Path, capsys: Told) -> None:
    before, log = gantry.state(), len(gantry.log())
    transcript = tmp_path / "said.txt"
    options = TryOptions(playbook(tmp_path), str(gantry.link), transcript, as_json=True)
    assert try_playbook(options) == 0
    told = TryDocument.model_validate_json(capsys.readouterr().out)
    outcomes = {c.capability: c.outcome for c in told.capabilities}
    assert {c for c, outcome in outcomes.items() if outcome == "works"} == {
        *("identify", "power", "recordings", "fetch", "settings", "self-test"),
    }  # fmt: skip
    assert {c for c, outcome in outcomes.items() if outcome == "left out"} == {
        *("put settings", "write", "restart", "prove"),
    }  # fmt: skip
    assert outcomes["position"] == "by hand"
    fields = {f.name: (f.value, f.unit) for c in told.capabilities for f in c.fields}
    first = before["recordings"][0]
    assert fields["fetched and thrown away"] == (str(first["bytes"]), "bytes")
    assert fields["sha256"] == (first["sha256"], "")
    assert fields["external power"] == ("yes", "")
    assert {line["what"] for line in gantry.log()[log:]} <= {"identify"}
    assert gantry.state()["settings"] == before["settings"]
    lines = transcript.read_text(encoding="ascii").splitlines()
    assert all(re.match(r" *\d+\.\d{3} s  (said |heard)  ", line) for line in lines)
    assert any(line.endswith("said   WHO<CR>") for line in lines)
    heard = sum(c.heard_bytes for c in told.capabilities)
    assert heard > first["bytes"]


def test_what_fails_says_what_was_expected_and_what_came(gantry: Process, tmp_path: Path, capsys: Told) -> None:
    wrong = playbook(tmp_path, "gantry", ("REL {release}", "RELEASE {release}"), ("seconds: 180", "seconds: 20"))
    wrong.write_text(wrong.read_text().replace("{say: REL,", "{seconds: 0.3, say: REL,"))
    assert try_playbook(TryOptions(wrong, str(gantry.link))) == 3
    told = capsys.readouterr().out
    assert "identify: fails" in told
    assert "expected a line that begins with RELEASE and tells release; last came 'REL " in told
    assert "these do not: identify" in told
    assert "power: works" in told


def test_nothing_answers(tmp_path: Path, capsys: Told) -> None:
    quick = ("every_seconds: 0.5, tries: 8", "every_seconds: 0.1, tries: 2")
    with unit("Gantry", tmp_path / SERIAL) as process:
        process.hand(do="switch", on=False)
        process.wait_for("power", on=False)
        assert try_playbook(TryOptions(playbook(tmp_path, "gantry", quick), str(process.link))) == 3
    told = capsys.readouterr().out
    assert "is the cable of the right type? seated? is the unit on?" in told
    assert told.count("nothing answers") == 4


@pytest.mark.parametrize(
    ("name", "changes", "port", "status"),
    [
        ("gantry", (("{release}", "{relaese}"),), "none", 2),
        ("gantry", (("name: dialogue", "name: dialogue\n  settings: {appears_s: 1, poll_s: 1}"),), "/dev/none", 1),
        ("tiller", (), "none", 2),
    ],
)
def test_what_cannot_be_tried(
    name: str, changes: tuple[tuple[str, str], ...], port: str, status: int, tmp_path: Path, capsys: Told
) -> None:
    path = playbook(tmp_path, name, *changes)
    assert status_of(lambda: try_playbook(TryOptions(path, port))) == status
    assert capsys.readouterr().err.startswith("benchday: ")


def test_no_password_is_told_of_a_unit_s_own_page(tmp_path: Path, capsys: Told) -> None:
    transcript = tmp_path / "said.txt"
    with unit("Osier", tmp_path / SERIAL) as process:
        options = TryOptions(playbook(tmp_path, "osier"), str(process.link), transcript, as_json=True)
        assert try_playbook(options) == 0
        password = process.state()["password"]
    told, said = capsys.readouterr().out, transcript.read_text()
    assert "POST /sign-in" in said
    assert password not in told + said
    assert json.loads(told)["works"]
