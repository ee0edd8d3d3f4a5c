"""A real day killed beside every act, write, restart and copy, and at some other points; all_kills kills at all."""

from __future__ import annotations

import json
import subprocess

import pytest

KILLS_AT_LEAST = 40


def test_killed_at_any_point_the_day_goes_on_and_nothing_is_written_twice(kills: subprocess.Popen[str]) -> None:
    """What instruments, archive and journal hold agrees after every kill, and after kills while it recovers."""
    out, err = kills.communicate(timeout=400)
    if not out:
        pytest.fail(err)
    *results, counted = [json.loads(line) for line in out.splitlines()]
    assert [r for r in results if r["faults"]] == []
    assert counted["kills"] >= KILLS_AT_LEAST
    # A few second kills are at points that a day taken up again does not come to.
    assert counted["never_reached"] <= counted["cases"] // 4
