"""The clock of physics: real time, made faster by `--speed`. Erasing, flashing, booting and charging go by it."""

import asyncio
import time
from collections.abc import Callable

LONGEST_SLEEP_S = 0.5


class PhysicsClock:
    """Seconds of physics since the unit was made; they stand still while no process runs."""

    def __init__(self, speed: float, start_s: float = 0.0, monotonic: Callable[[], float] = time.monotonic) -> None:
        """Begin at `start_s`; raises ValueError when the speed is not above 0."""
        if speed <= 0:
            raise ValueError(f"speed must be above 0, not {speed}")
        self.speed = speed
        self._start_s = start_s
        self._monotonic = monotonic
        self._began = monotonic()
        self._factor = 1.0
        self._slow_until = 0.0

    def now(self) -> float:
        """Give the present second of physics."""
        now = self._monotonic()
        if self._factor > 1:
            until = min(now, self._slow_until)
            slowed_s = self._start_s + max(0.0, until - self._began) * self.speed / self._factor
            if now < self._slow_until:
                return slowed_s
            self._start_s, self._began, self._factor = slowed_s, self._slow_until, 1.0
        return self._start_s + (now - self._began) * self.speed

    def slow(self, factor: float, seconds: float) -> None:
        """Go so many times slower for some real seconds."""
        self._start_s, self._began = self.now(), self._monotonic()
        self._factor, self._slow_until = factor, self._began + seconds

    async def sleep(self, seconds: float) -> None:
        """Let seconds of physics pass."""
        await self.sleep_until(self.now() + seconds)

    async def sleep_until(self, moment_s: float) -> None:
        """Wait for a second of physics; returns at once when it has passed."""
        while (left_s := moment_s - self.now()) > 0:  # noqa: ASYNC110 - a clock is waited for
            # In pieces, so that a unit that becomes slow meanwhile is late.
            await asyncio.sleep(min(left_s / self.speed, LONGEST_SLEEP_S))
        await asyncio.sleep(0)
