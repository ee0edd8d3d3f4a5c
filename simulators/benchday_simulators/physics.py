"""The clock of physics: real time, made faster by `--speed`. Erasing, flashing, booting and charging go by it."""

import asyncio
import time
from collections.abc import Callable


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

    def now(self) -> float:
        """Give the present second of physics."""
        return self._start_s + (self._monotonic() - self._began) * self.speed

    async def sleep(self, seconds: float) -> None:
        """Let seconds of physics pass."""
        await self.sleep_until(self.now() + seconds)

    async def sleep_until(self, moment_s: float) -> None:
        """Wait for a second of physics; returns at once when it has passed."""
        await asyncio.sleep(max(0.0, moment_s - self.now()) / self.speed)
