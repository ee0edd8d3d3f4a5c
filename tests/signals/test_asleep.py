"""The laptop asleep for an hour in the middle of a write.

The program is stopped, and a library that stands before clock_gettime(2) lets an hour pass: for the program as a
suspend does, and for the unit, where that lives through it, as any hour.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.signals.day import (
    AtThePipe,
    at_the_pipe,
    being_written,
    end_instruments,
    facts,
    unit_log,
    wait_until,
    write_day,
)

HOUR_S = 3600


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Compile what stands before the clocks."""
    compiler = shutil.which("cc")
    assert compiler is not None, "this test needs a C compiler (Debian: gcc)"
    made = tmp_path_factory.mktemp("away") / "away.so"
    source = Path(__file__).with_name("away.c")
    subprocess.run([compiler, "-shared", "-fPIC", "-O2", "-o", str(made), str(source), "-ldl"], check=True)
    return made


class Sleeper:
    """A day under the library."""

    def __init__(self, folder: Path, library: Path) -> None:
        self.folder = folder
        self._file = folder.parent / "away"
        self._file.write_text("0 0 0", encoding="ascii")
        self.environment = {"LD_PRELOAD": str(library), "AWAY_FILE": str(self._file)}

    def sleep(self, run: AtThePipe, *, unit_lives_through_it: bool) -> None:
        """Stop the program, and let the hour pass."""
        run.process.send_signal(signal.SIGSTOP)
        wait_until(lambda: _state(run.process.pid) == "T", "the program does not stop")
        beside = self._file.with_suffix(".new")
        beside.write_text(f"{run.process.pid} {HOUR_S} {HOUR_S if unit_lives_through_it else 0}", encoding="ascii")
        beside.replace(self._file)

    def wake(self, run: AtThePipe) -> None:
        """Let it go on."""
        run.process.send_signal(signal.SIGCONT)

    def slept(self) -> list[dict[str, Any]]:
        """Return what was recorded of it."""
        return facts(self.folder, "pc_slept")


@pytest.fixture
def sleeper(tmp_path: Path, library: Path) -> Iterator[Sleeper]:
    """Make the folder; its unit is ended afterwards."""
    folder = tmp_path / "day"
    yield Sleeper(folder, library)
    end_instruments(folder)


def _state(process: int) -> str:
    return Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0]


def test_a_write_that_waited_goes_on_and_the_operator_is_told(sleeper: Sleeper) -> None:
    """A unit that sleeps with the computer, or is patient, is written to its end."""
    write_day(sleeper.folder, 20_000)
    with at_the_pipe(sleeper.folder, 40, leave_open=("slept",), **sleeper.environment) as run:
        wait_until(being_written(sleeper.folder), f"no write: {run.errors()}")
        sleeper.sleep(run, unit_lives_through_it=False)
        sleeper.wake(run)
        wait_until(run.asked("slept"), "nobody is told")
        wait_until(lambda: facts(sleeper.folder, "unit_verified"), "the write does not go on")
        run.send(signal.SIGTERM)
        assert run.ended() == 130
    assert [f["outcome"] for f in facts(sleeper.folder, "act_ended")] == ["whole"]
    (slept,) = sleeper.slept()
    assert slept["how"] == "slept"
    assert -1 < slept["lasted_us"] / 1e6 - HOUR_S < 60
    assert slept["writing"] == ["007421530018"]
    item = next(line for line in run.told if str(line.get("topic", "")).startswith("slept"))
    assert item["safety"]
    assert "The bench PC slept for 1 h" in item["text"]


def test_a_write_that_was_given_up_meanwhile_is_held_as_interrupted(sleeper: Sleeper) -> None:
    """The unit waited for its next block for an hour; what is held says that it was the computer that was away."""
    write_day(sleeper.folder, 4_000_000)
    with at_the_pipe(sleeper.folder, 20, leave_open=("slept", "interrupted", "line"), **sleeper.environment) as run:
        wait_until(being_written(sleeper.folder), f"no write: {run.errors()}")
        sleeper.sleep(run, unit_lives_through_it=True)
        wait_until(lambda: unit_log(sleeper.folder)[-1]["what"] == "image_end", "the unit does not give up")
        assert unit_log(sleeper.folder)[-1]["outcome"] == "cut"
        sleeper.wake(run)
        wait_until(run.asked("interrupted"), "nobody is asked about the unit")
        wait_until(run.asked("slept"), "nobody is told of the sleep")
        os.kill(run.process.pid, signal.SIGTERM)
        assert run.ended() == 130
    (held,) = facts(sleeper.folder, "unit_held")
    assert held["code"] == "interrupted"
    assert "the bench PC was away for 1 h" in held["reason"]
    assert [f["outcome"] for f in facts(sleeper.folder, "act_ended")] == ["cut"]
    assert len(facts(sleeper.folder, "line_stopped")) == 1
    assert [s["how"] for s in sleeper.slept()] == ["slept"]
