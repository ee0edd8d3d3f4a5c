"""The full screen on a real terminal that is closed in the middle of a write."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.terminal import Terminal
from tests.signals.day import (
    OPERATOR,
    UNIT,
    at_the_pipe,
    being_written,
    end_instruments,
    facts,
    unit_log,
    wait_until,
    write_day,
)

SPEED = 40


@pytest.fixture
def to_confirm(tmp_path: Path) -> Iterator[Path]:
    """Bring the unit to its confirmation, and stop there."""
    folder = tmp_path / "day"
    write_day(folder, 20_000)
    with at_the_pipe(folder, SPEED, leave_open=("confirm",)) as run:
        wait_until(run.asked("confirm"), "nothing is to be confirmed")
        run.send(signal.SIGTERM)
        assert run.ended() == 130
    yield folder
    end_instruments(folder)


def confirmed(terminal: Terminal, folder: Path) -> None:
    """Read the cautions, read the label, and see the write begin."""
    terminal.wait_for(lambda: "CAUTION:" in terminal.text or "Scan or type a code" in terminal.text)
    while "Scan or type a code" not in terminal.text:
        terminal.type("y\r")
        terminal.read(0.3)
    for typed, seen in ((UNIT, "write or not now"), ("write", "the last four characters")):
        terminal.wait_for("Write unit")
        terminal.type(f"{typed}\r")
        terminal.wait_for(seen)
    terminal.type(f"{UNIT[-4:]}\r")
    terminal.wait_for(being_written(folder))


def test_closed_in_a_write_the_unit_is_seen_through(to_confirm: Path) -> None:
    """The screen fails with an error at every redraw from then on; the write, its restart and its verify do not."""
    arguments = ["-m", "benchday.cli.main", "run", str(to_confirm), "--operator", OPERATOR, "--speed", str(SPEED)]
    with Terminal(arguments, 100, 30, {}) as terminal:
        confirmed(terminal, to_confirm)
        terminal.type("\x1a")
        terminal.wait_for("Not put aside")
        terminal.type("\x03")
        terminal.wait_for("Still being written, let finish")
        assert terminal.hang_up() == 130
    assert [f["outcome"] for f in facts(to_confirm, "act_ended")] == ["whole"]
    assert [e["what"] for e in unit_log(to_confirm)].count("flashed") == 1
    assert facts(to_confirm, "unit_held") == []
    assert len(facts(to_confirm, "unit_verified")) == 1
    assert facts(to_confirm, "program_stopped")[-1]["why"] == "stopped"
