"""Days killed and troubled in every way there is, few of each; the campaign runs thousands of the same by hand."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.faults.campaign import KINDS, RESULTS, SHORT

ROOT = Path(__file__).parents[2]
SEED = 20260616
KILLS_AT_LEAST, TROUBLE_AT_LEAST = 40, 15


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[dict[str, Any]]]:
    """Run the short form, in a program of its own: it forks, and a test runner is no good parent."""
    folder = tmp_path_factory.mktemp("campaign")
    return folder, _called(folder)


def _called(folder: Path) -> list[dict[str, Any]]:
    command = [sys.executable, "-m", "tests.faults.campaign", str(folder), "--seed", str(SEED), "--short"]
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=900)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return [json.loads(line) for line in ran.stdout.splitlines()]


def test_whatever_is_killed_nothing_is_lost_and_nothing_written_twice(
    campaign: tuple[Path, list[dict[str, Any]]],
) -> None:
    """What journal, archive and instruments hold agrees after every run, and every day comes to its end."""
    *kinds, whole = campaign[1]
    assert whole["with_alarms"] == 0
    assert whole["program_kills"] >= KILLS_AT_LEAST
    assert whole["faults_fired"] >= TROUBLE_AT_LEAST
    by_kind = {told["kind"]: told for told in kinds}
    assert list(by_kind) == list(KINDS)
    assert all(told["cases"] == SHORT[kind] for kind, told in by_kind.items())
    for kind in ("points", "instants", "recovery", "both", "whole"):
        assert by_kind[kind]["program_kills"], kind
    for kind in ("instruments", "both", "whole"):
        assert by_kind[kind]["instrument_kills"], kind


def test_called_again_it_goes_on_where_it_stopped(campaign: tuple[Path, list[dict[str, Any]]]) -> None:
    """Nothing is done twice; what is missing is done, and half a line that a kill left does not matter."""
    folder, told = campaign
    path = folder / RESULTS
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if '"kind": "clean"' not in line]
    path.write_text("".join(kept) + lines[0][:20], encoding="utf-8")
    again = _called(folder)
    done = path.read_text(encoding="utf-8").splitlines(keepends=True)
    assert done[: len(kept)] == kept
    assert len(done) == len(lines)
    assert [x["cases"] for x in again] == [x["cases"] for x in told]
