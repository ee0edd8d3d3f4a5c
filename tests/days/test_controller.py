"""A field controller's day: its page declared, its set matched, and what its log says of its password."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from benchday.inputs.sample import SCENARIO, scenario_text, write_sample
from benchday.inputs.sample_text import roster_text
from benchday_simulators.images import build_image

CONTROLLER, RECEIVER = "FB2204-3371", "007421530018"


def told(*words: str) -> Any:
    """Run a command; gives its document."""
    command = [sys.executable, "-m", "benchday.cli.main", *words, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=240)
    assert done.returncode in (0, 3), done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A day with one crew's controller alone, and its receiver on the roster only for the targets."""
    made = tmp_path_factory.mktemp("controller") / "day"
    scenario = write_sample(made, 1, build_image=build_image, units=21)
    alone = tuple(u for u in scenario.units if u.serial == CONTROLLER)
    few = scenario.model_copy(
        update={"units": alone, "trouble": (), "lifts": (), "renewals": (), "choices": (), "pins": ()}
    )
    (made / SCENARIO).write_text(scenario_text(few), encoding="utf-8")
    crew = tuple(u for u in scenario.units if u.serial in (CONTROLLER, RECEIVER))
    (made / "roster.csv").write_text(roster_text(crew), encoding="utf-8")
    return made


def test_its_software_joins_the_matching_set(folder: Path) -> None:
    """Receiver and controller go to the newest together: the controller's old software does not know the new one."""
    document = told("targets", str(folder))
    assert CONTROLLER in json.dumps(document)
    targets = {u["serial"]: u["target"] for u in document["units"]}
    assert targets == {CONTROLLER: "1.6", RECEIVER: "2.10"}


def test_it_is_served_from_check_in_to_hand_back(folder: Path) -> None:
    """Identified, preserved, written, restarted and verified over its own page; its certificate is kept."""
    (folder / "roster.csv").write_text(
        "\n".join(line for line in (folder / "roster.csv").read_text().splitlines() if RECEIVER not in line) + "\n"
    )
    document = told("demo", str(folder), "--speed", "3000")
    unit = document["units"][0]
    assert (unit["serial"], unit["outcome"], unit["had"], unit["has"]) == (CONTROLLER, "handed-back", "1.4", "1.6")
    assert len(unit["preserved"]) == 2
    assert unit["writes"] == 1
    kept = json.loads((folder / "record" / "keys" / "certificates.json").read_text())
    assert list(kept) == [CONTROLLER]
    log = json.dumps(told("unit", CONTROLLER, "--day", str(folder)))
    assert "join its own Wi-Fi network Fenbook-3371 with adapter W1" in log
