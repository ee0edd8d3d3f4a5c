"""Day time: an anchor plus speed times real time."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import anyio
import anyio.lowlevel

_NS_PER_US = 1_000
_MILLI = 1_000
_LONGEST_SLEEP_S = 5.0
"""The event loop's timers stand still while the computer sleeps; after it nobody waits longer than this."""

_SHORTEST_SLEEP_US = 1_000_000
"""Less is the time between reading the two clocks that a sleep is told from."""


class DayClock:
    """The clock of a running day. At speed 1 and with no anchor, day time is UTC as it was at the start, moving evenly.

    Day time never steps, whatever happens to the computer's own clock; it goes on while the computer sleeps.
    """

    def __init__(
        self,
        anchor_at_us: int | None = None,
        speed_milli: int = _MILLI,
        *,
        asleep_us: Callable[[], int | None] = lambda: None,
        stands_still: bool = False,
    ) -> None:
        """Begin now.

        Args:
            anchor_at_us: the day time of this moment, microseconds since 1970 UTC.
            speed_milli: thousandths of day seconds to one real second.
            asleep_us: how long the computer has slept since it was started; None where that cannot be told.
            stands_still: day time does not go on in a sleep: simulated instruments sleep with the computer.
        """
        if speed_milli < 1:
            raise ValueError(f"the speed must be at least 1 thousandth, got {speed_milli}")

        self._asleep_us, self._stands_still = asleep_us, stands_still
        self._slept_before_us = asleep_us() or 0
        self._counted_us = 0
        self._began_ns = time.monotonic_ns()
        self._anchor_us = self.wall() if anchor_at_us is None else anchor_at_us
        self._speed_milli = speed_milli

    def now(self) -> int:
        """Return the day time."""
        elapsed_ns = time.monotonic_ns() - self._began_ns
        if not self._stands_still:
            elapsed_ns += self._slept_us() * _NS_PER_US
        return self._anchor_us + elapsed_ns * self._speed_milli // (_MILLI * _NS_PER_US)

    def wall(self) -> int:
        """Return the computer's own clock, which may step."""
        return time.time_ns() // _NS_PER_US

    def monotonic(self) -> int:
        """Return real time that never steps and goes on in a sleep: a permit grows old meanwhile."""
        return time.monotonic_ns() // _NS_PER_US + self._slept_us()

    async def wait_until(self, at_us: int) -> None:
        """Return when the day time is ``at_us`` or later."""
        await anyio.lowlevel.checkpoint()
        # A sleep may end a little early, by the granularity of the system's timers.
        while (left_us := at_us - self.now()) > 0:  # noqa: ASYNC110 - waits for a moment, not for a condition
            await anyio.sleep(min(left_us * _MILLI / self._speed_milli / 1e6, _LONGEST_SLEEP_S))

    def _slept_us(self) -> int:
        # Where the system's monotonic clock goes on in a sleep, it must not be counted twice.
        slept = (self._asleep_us() or 0) - self._slept_before_us if _STANDS_STILL_IN_SLEEP else 0
        if slept - self._counted_us >= _SHORTEST_SLEEP_US:
            self._counted_us = slept
        return self._counted_us


_STANDS_STILL_IN_SLEEP = not sys.platform.startswith("win")
"""time.monotonic: CLOCK_MONOTONIC under Linux and mach_absolute_time under macOS stand still in a sleep; what Windows
counts goes on (the documentation of Python's time module, PEP 418)."""
