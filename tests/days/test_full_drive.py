"""A field controller whose drive is full: found before the first byte, said, and held with everything kept."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from benchday.inputs.sample import SCENARIO, scenario_text, write_sample
from benchday.inputs.sample_text import roster_text
from benchday_simulators.images import build_image

CONTROLLER = "SP4-22107"


def told(*words: str) -> Any:
    """Run a command; gives its document."""
    command = [sys.executable, "-m", "benchday.cli.main", *words, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=900)
    assert done.returncode in (0, 3), done.stderr
    return json.loads(done.stdout)


def test_it_is_held_and_keeps_everything(tmp_path: Path) -> None:
    made = tmp_path / "day"
    scenario = write_sample(made, 1, build_image=build_image, units=25)
    (alone,) = (u for u in scenario.units if u.serial == CONTROLLER)
    empty: dict[str, object] = dict.fromkeys(("trouble", "lifts", "renewals", "choices", "pins"), ())
    few = scenario.model_copy(update={"units": (alone,), **empty})
    (made / SCENARIO).write_text(scenario_text(few), encoding="utf-8")
    (made / "roster.csv").write_text(roster_text((alone,)), encoding="utf-8")
    trouble = tmp_path / "full.yaml"
    trouble.write_text(json.dumps([{"unit": CONTROLLER, "what": "drive full", "times": "always"}]))
    (unit,) = told("demo", str(made), "--speed", "3000", "--trouble", str(trouble))["units"]
    assert (unit["serial"], unit["outcome"], unit["has"]) == (CONTROLLER, "held", unit["had"])
    assert "4096 bytes are free by the unit's own word" in unit["reason"]
    assert "nothing was erased" in unit["reason"]
    assert len(unit["preserved"]) == len(alone.starts.recordings or ())
    home = made / "instruments" / CONTROLLER
    log = [json.loads(line) for line in (home / "log.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [line["what"] for line in log if line["what"] in ("image_begin", "erased", "image_end")] == []
    kept = {recording["sha256"] for recording in json.loads((home / "state.json").read_text())["recordings"]}
    assert kept == {copy["sha256"] for copy in unit["preserved"]}
