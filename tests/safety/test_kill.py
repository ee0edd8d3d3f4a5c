"""A real day killed beside every act, write, restart and copy, and at some other points; all_kills kills at all."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SEED = 20260616
KILLS_AT_LEAST = 40


def test_killed_at_any_point_the_day_goes_on_and_nothing_is_written_twice(tmp_path: Path) -> None:
    """What instruments, archive and journal hold agrees after every kill, and after kills while it recovers."""
    # A program of its own: it forks, and a test runner is no good parent.
    command = [sys.executable, "-m", "tests.safety.all_kills", str(tmp_path), "--chosen", str(SEED)]
    ended = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=400, check=False)
    if not ended.stdout:
        pytest.fail(ended.stderr)
    *results, counted = [json.loads(line) for line in ended.stdout.splitlines()]
    assert [r for r in results if r["faults"]] == []
    assert counted["kills"] >= KILLS_AT_LEAST
    # A few second kills are at points that a day taken up again does not come to.
    assert counted["never_reached"] <= counted["cases"] // 4
