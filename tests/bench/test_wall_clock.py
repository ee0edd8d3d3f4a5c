"""The computer's own clock is set while the day runs: noted, and nothing rests on it."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from benchday.bench.wall_clock import STEP_US, WallClock
from benchday.domain.seams import Clock
from benchday.record.clock import DayClock

SECOND = 1_000_000


@dataclass(slots=True)
class TwoClocks:
    """A clock of the wall and one that never steps, moved apart."""

    wall_us: int = 1_700_000_000 * SECOND
    mono_us: int = 5 * SECOND
    pause_us: int = 0
    """Passes once between two readings."""

    def now(self) -> int:
        """Return the day time."""
        return self.mono_us

    def wall(self) -> int:
        """Return the clock of the wall; the pause falls before it is read."""
        self.wall_us += self.pause_us
        self.mono_us += self.pause_us
        self.pause_us = 0
        return self.wall_us

    def monotonic(self) -> int:
        """Return the one that never steps."""
        return self.mono_us

    async def wait_until(self, at_us: int) -> None:
        """Never wait."""

    def passes(self, us: int, wall_us: int | None = None) -> None:
        """Let time pass, on the wall more or less than that."""
        self.mono_us += us
        self.wall_us += us if wall_us is None else wall_us


def test_both_are_clocks() -> None:
    """What is compared is the seam."""
    clocks: list[Clock] = [TwoClocks(), DayClock()]
    assert all(WallClock(clock).stepped() is None for clock in clocks)


@pytest.mark.parametrize("by", [3600 * SECOND, -3600 * SECOND, STEP_US, -STEP_US])
def test_a_step_is_told_once_with_its_size(by: int) -> None:
    """Forward and back, and how long ago it may have been."""
    clock = TwoClocks()
    watched = WallClock(clock)
    clock.passes(SECOND)
    assert watched.stepped() is None
    clock.passes(SECOND, SECOND + by)
    found = watched.stepped()
    assert found is not None
    assert (found.by_us, found.within_us) == (by, SECOND)
    clock.passes(SECOND)
    assert watched.stepped() is None


def test_a_clock_that_is_slewed_does_not_step() -> None:
    """Set right bit by bit, by half a second in a thousand, for hours."""
    clock = TwoClocks()
    watched = WallClock(clock)
    for _ in range(20_000):
        clock.passes(SECOND, SECOND + 500)
        assert watched.stepped() is None


def test_a_program_kept_from_going_on_is_no_step() -> None:
    """Stopped between two readings, it reads again."""
    clock = TwoClocks()
    watched = WallClock(clock)
    clock.passes(SECOND)
    clock.pause_us = 60 * SECOND
    assert watched.stepped() is None
