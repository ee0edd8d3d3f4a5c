"""run with a program at the pipe, with nobody, and what comes after: status, unit, close; one simulated unit."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from benchday.cli.documents import DOCUMENTS
from benchday.inputs.sample import write_sample
from benchday_simulators.images import build_image
from tests.cli.answering import value_for

OPERATOR = "Ines Halloran"
UNIT = "007421530018"
COMMAND = [sys.executable, "-m", "benchday.cli.main"]


@pytest.fixture(scope="module")
def one_unit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a day of one simulated unit; the tests of this file run it in turn."""
    folder = tmp_path_factory.mktemp("run") / "day"
    write_sample(folder, 3, build_image=build_image, units=1)
    return folder


def called(*arguments: str, typed: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run a command as a person's shell would."""
    how = {"input": typed} if typed is not None else {"stdin": subprocess.DEVNULL}
    return subprocess.run([*COMMAND, *arguments], capture_output=True, text=True, timeout=60, check=False, **how)


def document(*arguments: str) -> dict[str, Any]:
    """Run a command with --json; its document must be alone on standard output and as its schema says."""
    told: dict[str, Any] = json.loads(called(*arguments, "--json").stdout)
    DOCUMENTS[arguments[0]].model_validate(told)
    assert told["benchday"] == f"{arguments[0]}/1"
    return told


def test_nobody_there_ends_with_four_and_the_open_items(one_unit: Path) -> None:
    ended = called("run", str(one_unit), "--operator", OPERATOR, "--no-input", "--speed", "600", "--json")
    assert ended.returncode == 4, ended.stderr
    told = json.loads(ended.stdout)
    assert told["benchday"] == "run/1"
    assert told["why"] == "nobody"
    assert [i["topic"] for i in told["items"]] == ["check in"]
    DOCUMENTS["run"].model_validate(told)


def test_a_program_at_the_pipe_serves_a_unit_to_its_hand_back(one_unit: Path) -> None:
    arguments = ["run", str(one_unit), "--operator", OPERATOR, "--pipe", "--speed", "1200"]
    with subprocess.Popen(
        [*COMMAND, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        told = list(_served(process))
        assert process.wait(30) == 0, process.stderr.read() if process.stderr else ""
    assert {"refused": None, "why": "expected an object"} in told
    assert any(line.get("refused") == "no such" for line in told)
    assert told[-1] == {"ended": "finished"}


def _served(process: subprocess.Popen[str]) -> Iterator[dict[str, Any]]:
    assert process.stdout is not None
    assert process.stdin is not None
    strange: tuple[object, ...] = ([], {"id": "no such", "value": {}, "operator": OPERATOR})
    for answer in strange:
        process.stdin.write(json.dumps(answer) + "\n")
    process.stdin.flush()
    for line in process.stdout:
        told: dict[str, Any] = json.loads(line)
        yield told
        if "topic" in told:
            given = {"id": told["id"], "value": value_for(told, UNIT[-4:]), "operator": OPERATOR}
            process.stdin.write(json.dumps(given) + "\n")
            process.stdin.flush()


def test_status_tells_the_day(one_unit: Path) -> None:
    told = document("status", str(one_unit))
    assert told["simulated"] is True
    assert told["benches"][0]["counts"] == {"handed back": 1}
    assert "SIMULATED" in called("status", str(one_unit)).stdout


def test_a_log_is_told_in_order_and_its_digests_follow_from_its_bodies(one_unit: Path) -> None:
    from hashlib import sha256

    told = document("unit", UNIT, "--day", str(one_unit))
    kinds = [e["kind"] for e in told["entries"]]
    assert [e["seq"] for e in told["entries"]] == sorted(e["seq"] for e in told["entries"])
    assert kinds.index("permit_given") < kinds.index("act_spent") < kinds.index("act_ended") < kinds.index("unit_ready")
    for entry in told["entries"]:
        assert sha256(bytes.fromhex(entry["prev"]) + entry["body"].encode()).hexdigest() == entry["digest"]
        assert json.loads(entry["body"])["seq"] == entry["seq"]


def test_a_log_says_what_an_auditor_asks(one_unit: Path) -> None:
    text = called("unit", UNIT, "--day", str(one_unit)).stdout
    for told in (
        "SIMULATED",
        "2.9 before, 2.10 now",
        "preserved SITE001",
        "handed back to Maren Oakhurst",
        "confirmed by pipe",
        "the unit proved itself a simulator",
        "+01:00",
        "station S1",
    ):
        assert told in text


def test_closing_asks_for_what_was_not_said_and_then_closes(one_unit: Path) -> None:
    arguments = ("close", str(one_unit), "--operator", OPERATOR)
    ended = called(*arguments)
    assert ended.returncode == 4
    assert "--packs-off" in ended.stderr
    assert "--cables-counted" in ended.stderr
    assert called(*arguments, "--overnight", "nonsense").returncode == 2
    assert called(*arguments, "--packs-on", "--cables-counted").returncode == 4
    ended = called(*arguments, "--packs-off", "--cables-counted", "--missing-cable", "R2", "--json")
    assert ended.returncode == 0, ended.stderr
    assert json.loads(ended.stdout) == {"benchday": "close/1", "closed": True, "against": [], "overnight": []}
    assert document("status", str(one_unit))["benches"][0]["closed"] is True
    again = called(*arguments)
    assert (again.returncode, "closed already" in again.stdout) == (0, True)
