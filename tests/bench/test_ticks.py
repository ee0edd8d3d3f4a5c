"""Ticks are not stored; a long step leaves at most one milestone a real minute."""

from __future__ import annotations

from benchday.bench.ticks import Ticks
from benchday.domain.playbook import StepName
from benchday.domain.readings import Progress
from benchday.testing.clock import ManualClock

SECOND_US = 1_000_000


def test_a_milestone_comes_once_a_minute_and_ticks_all_the_time() -> None:
    clock = ManualClock(1_781_593_200_000_000)
    ticks = Ticks(clock)
    milestones = []
    for second in range(150):
        due = ticks.show("u", StepName.WRITE, Progress(second, 200, "sending"))
        assert ticks.now["u"].done == second
        if due is not None:
            milestones.append((second, due.step, due.percent))
        clock.advance(SECOND_US)
    assert milestones == [(60, "write", 30), (120, "write", 60)]
    ticks.forget("u")
    assert "u" not in ticks.now


def test_where_an_operation_began_is_kept_until_another_begins() -> None:
    clock = ManualClock(0)
    ticks = Ticks(clock)
    for _ in range(3):
        ticks.show("u", StepName.WRITE, Progress(1, 10, "sending"))
        clock.advance(SECOND_US)
    assert ticks.now["u"].first_us == 0
    ticks.show("u", StepName.WRITE, Progress(0, 100, "flashing"))
    assert ticks.now["u"].first_us == 3 * SECOND_US
