"""Signals in the middle of a write: what each means holds for the unit, too."""

from __future__ import annotations

import signal
import time
from collections.abc import Iterator
from pathlib import Path

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

SPEED = 40
"""The unit flashes for 12 to 21 s at this speed."""
SMALL = 20_000


@pytest.fixture
def day(tmp_path: Path) -> Iterator[Path]:
    """Write the day; its unit is ended afterwards."""
    folder = tmp_path / "day"
    write_day(folder, SMALL)
    yield folder
    end_instruments(folder)


def whole(folder: Path) -> None:
    """Check that the write ended whole, with all that belongs to it, and once."""
    assert [f["outcome"] for f in facts(folder, "act_ended")] == ["whole"]
    events = [e["what"] for e in unit_log(folder)]
    assert events.count("image_begin") == events.count("flashed") == 1
    assert facts(folder, "unit_held") == []
    assert [f["release"] for f in facts(folder, "unit_verified")] != []
    assert facts(folder, "program_stopped")[-1]["why"] in ("stopped", "nobody")


def writing(run: AtThePipe, folder: Path) -> None:
    """Wait until the unit is being written."""
    wait_until(being_written(folder), f"no write: {run.told[-3:]} {run.errors()}")


def test_systems_that_ask_again_and_again_do_not_cut_a_write(day: Path) -> None:
    """SIGTERM and SIGHUP count as the first request, however many come."""
    with at_the_pipe(day, SPEED) as run:
        writing(run, day)
        run.send(signal.SIGTERM, signal.SIGHUP, signal.SIGHUP, signal.SIGTERM)
        assert run.ended() == 130
        assert "STILL BEING WRITTEN" not in run.errors()
    whole(day)


def test_the_second_names_it_and_a_third_after_ten_seconds_warns_again(day: Path) -> None:
    """Only a third within ten seconds of the second ends; this one comes later."""
    with at_the_pipe(day, SPEED / 2) as run:
        writing(run, day)
        run.send(signal.SIGINT)
        assert "No new step begins. Still being written, let finish: 007421530018." in run.errors()
        run.send(signal.SIGINT)
        assert "STILL BEING WRITTEN, would be left half written: 007421530018." in run.errors()
        began = time.monotonic()
        wait_until(lambda: time.monotonic() - began > 10.5, "time stands still")
        assert being_written(day)(), "it has to be written for longer than that"
        run.send(signal.SIGINT)
        assert run.errors().count("STILL BEING WRITTEN") == 2
        assert run.ended() == 130
    whole(day)


def test_the_third_within_ten_seconds_cuts_and_the_unit_is_held(day: Path) -> None:
    """What is half written is told of, and asked about when the day is taken up again."""
    with at_the_pipe(day, SPEED) as run:
        writing(run, day)
        run.send(signal.SIGINT, signal.SIGINT, signal.SIGINT)
        assert run.ended() == 130
        assert "Ended; what was being written is interrupted." in run.errors()
    assert [f["code"] for f in facts(day, "unit_held")] == ["interrupted"]
    assert len(facts(day, "line_stopped")) == 1
    with at_the_pipe(day, SPEED, leave_open=("interrupted",)) as run:
        wait_until(run.asked("interrupted"), "nobody is asked about the interrupted unit")
        run.send(signal.SIGTERM)
        assert run.ended() == 130
    assert len(facts(day, "act_spent")) == 1, "nothing was written again by itself"


def test_a_program_at_the_pipe_that_goes_away_leaves_the_write_to_its_end(day: Path) -> None:
    """Nobody reads (SIGPIPE) and nobody types any more; Ctrl-C is heard all the same."""
    with at_the_pipe(day, SPEED) as run:
        writing(run, day)
        run.leave()
        wait_until(lambda: being_written(day)() or facts(day, "act_ended"), "the write is gone")
        run.send(signal.SIGINT)
        assert run.ended() in (4, 130)
    whole(day)


def test_ctrl_z_does_not_leave_a_unit_waiting(day: Path) -> None:
    """The program says why, goes on, and what stops it all the same (SIGSTOP) does it no harm."""
    with at_the_pipe(day, SPEED) as run:
        writing(run, day)
        run.send(signal.SIGTSTP)
        assert "Not put aside" in run.errors()
        run.process.send_signal(signal.SIGSTOP)
        run.process.send_signal(signal.SIGCONT)
        assert run.ended() == 0
    whole_day = facts(day, "program_stopped")[-1]["why"]
    assert whole_day == "finished"
    assert [f["outcome"] for f in facts(day, "act_ended")] == ["whole"]
