"""Day time: an anchor plus speed times real time."""

from __future__ import annotations

import time

import anyio
import anyio.lowlevel

_NS_PER_US = 1_000
_MILLI = 1_000


class DayClock:
    """The clock of a running day. At speed 1 and with no anchor, day time is UTC as it was at the start, moving evenly.

    Day time never steps, whatever happens to the computer's own clock.
    """

    def __init__(self, anchor_at_us: int | None = None, speed_milli: int = _MILLI) -> None:
        """Begin now.

        Args:
            anchor_at_us: the day time of this moment, microseconds since 1970 UTC.
            speed_milli: thousandths of day seconds to one real second.
        """
        if speed_milli < 1:
            raise ValueError(f"the speed must be at least 1 thousandth, got {speed_milli}")

        self._began_ns = time.monotonic_ns()
        self._anchor_us = self.wall() if anchor_at_us is None else anchor_at_us
        self._speed_milli = speed_milli

    def now(self) -> int:
        """Return the day time."""
        elapsed_ns = time.monotonic_ns() - self._began_ns
        return self._anchor_us + elapsed_ns * self._speed_milli // (_MILLI * _NS_PER_US)

    def wall(self) -> int:
        """Return the computer's own clock, which may step."""
        return time.time_ns() // _NS_PER_US

    def monotonic(self) -> int:
        """Return real time that never steps."""
        return time.monotonic_ns() // _NS_PER_US

    async def wait_until(self, at_us: int) -> None:
        """Return when the day time is ``at_us`` or later."""
        await anyio.lowlevel.checkpoint()
        # A sleep may end a little early, by the granularity of the system's timers.
        while (left_us := at_us - self.now()) > 0:  # noqa: ASYNC110 - waits for a moment, not for a condition
            await anyio.sleep(left_us * _MILLI / self._speed_milli / 1e6)
