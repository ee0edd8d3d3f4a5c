"""The computer's own clock is set forward and back under a real day; day time and durations do not mind."""

import json
import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from benchday.record.checking import check_record
from tests.faults.storage import ROOT
from tests.faults.storage_shim import compiled

HOUR_US = 3_600_000_000
LONGEST_S = 300


def entries(folder: Path) -> list[dict[str, Any]]:
    """Read the entries that stand in a day's record now."""
    path = folder / "record" / "journal.db"
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
            return [json.loads(body) for (body,) in database.execute("SELECT body FROM entry ORDER BY seq")]
    except sqlite3.OperationalError:
        return []


def wait(folder: Path, program: subprocess.Popen[bytes], condition: Callable[[list[dict[str, Any]]], bool]) -> None:
    """Wait until the entries fulfil a condition."""
    until = time.monotonic() + LONGEST_S
    while not condition(entries(folder)):
        if program.poll() is not None or time.monotonic() > until:
            pytest.fail(f"the day ended, or nothing came of it: {program.poll()}")
        time.sleep(0.1)


def steps(told: list[dict[str, Any]]) -> list[int]:
    """Return by how much the clock was seen to step."""
    return [e["facts"]["by_us"] for e in told if e["kind"] == "clock_stepped"]


def test_the_clock_is_set_under_a_running_day(tmp_path: Path) -> None:
    """Two hours forward, then three back: each noted once, with both clocks in every entry."""
    off = tmp_path / "off.txt"
    off.write_text("0", encoding="utf-8")
    folder = tmp_path / "day"
    paths = os.pathsep.join(str(p) for p in (ROOT, ROOT / "simulators", ROOT / "playbooks"))
    environment = os.environ | {"LD_PRELOAD": str(compiled(tmp_path)), "STORAGE_CLOCK": str(off), "PYTHONPATH": paths}
    began = time.monotonic()
    with (tmp_path / "told.txt").open("wb") as told:
        command = [sys.executable, "-m", "benchday.cli.main", "demo", str(folder), "--units", "1", "--speed", "600"]
        with subprocess.Popen(command, env=environment, stdout=told, stderr=told) as program:
            wait(folder, program, lambda es: any(e["kind"] == "unit_arrived" for e in es))
            _set(off, 7200)
            wait(folder, program, lambda es: len(steps(es)) == 1)
            _set(off, -3600)
            wait(folder, program, lambda es: len(steps(es)) == 2)
    lasted_us = (time.monotonic() - began) * 1e6
    assert program.returncode == 0, (tmp_path / "told.txt").read_text()
    found = entries(folder)
    forward, back = steps(found)
    # What a busy computer lets pass between two looks is in neither.
    assert abs(forward - 2 * HOUR_US) < 1_000_000
    assert abs(back + 3 * HOUR_US) < 1_000_000
    assert [e["at_us"] for e in found] == sorted(e["at_us"] for e in found)
    assert [e["mono_us"] for e in found] == sorted(e["mono_us"] for e in found)
    walls = [e["wall_us"] for e in found]
    assert walls != sorted(walls)
    assert max(walls) - min(walls) > 2 * HOUR_US
    took = [e["facts"]["took_mono_us"] for e in found if e["kind"] == "step_ended"]
    assert took
    assert all(0 <= us < lasted_us for us in took)
    assert check_record(folder / "record").faults == []


def _set(off: Path, seconds: int) -> None:
    fresh = off.with_suffix(".new")
    fresh.write_text(str(seconds), encoding="utf-8")
    fresh.replace(off)
