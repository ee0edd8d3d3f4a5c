"""The computer's own clock is set while the day runs: noticed and recorded, so that its jump explains itself later.

Nothing here rests on that clock: day time and durations go by the monotonic one, and entries show both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import anyio

from benchday.domain.kinds import ClockStepped
from benchday.domain.seams import Clock
from benchday.logs import logger

if TYPE_CHECKING:
    from benchday.bench.serving import Tools

BEAT_S = 1.0
"""Real seconds between two looks."""
STEP_US = 2_000_000
"""What a clock that is set right bit by bit never does between two looks: it is slewed by far less (NTP: 500 ppm)."""


class WallClock:
    """Compares the clock of the wall with time that passed."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._mono_us, self._ahead_us = self._look()

    def stepped(self) -> ClockStepped | None:
        """Look now; return how far the clock went beyond the time that passed since the last look, if it stepped."""
        mono_us, ahead_us = self._look()
        by_us, within_us = ahead_us - self._ahead_us, mono_us - self._mono_us
        self._mono_us, self._ahead_us = mono_us, ahead_us
        return ClockStepped(by_us=by_us, within_us=within_us) if abs(by_us) >= STEP_US else None

    def _look(self) -> tuple[int, int]:
        """Return the monotonic clock, and how far the clock of the wall is ahead of it."""
        while True:
            before_us = self._clock.monotonic()
            wall_us = self._clock.wall()
            after_us = self._clock.monotonic()
            # A program that is kept from going on between two readings has read two different moments.
            if after_us - before_us < STEP_US // 4:
                return after_us, wall_us - after_us


async def watch_wall_clock(tools: Tools) -> None:
    """Record each step of the clock, until cancelled."""
    watched = WallClock(tools.book.clock)
    while True:
        await anyio.sleep(BEAT_S)
        found = watched.stepped()
        if found is not None:
            logger().warning("the computer's clock stepped", by_us=found.by_us, within_us=found.within_us)
            await tools.book.append(found.draft())
