"""A clock whose time moves only when told."""

from __future__ import annotations

import asyncio
import heapq
import itertools
from collections.abc import Callable

import anyio
import anyio.lowlevel

NOON_US = 1_767_268_800_000_000
"""2026-01-01 12:00 UTC, a moment to begin with."""

_OUTSIDE_S = 0.001


class ManualClock:
    """Time stands still until ``advance`` or ``jump`` moves it; then everybody whose moment has come goes on."""

    def __init__(self, start_us: int = NOON_US) -> None:
        self._start_us = self._now_us = start_us
        self._waiters: list[tuple[int, int, anyio.Event]] = []
        self._order = itertools.count()

    def now(self) -> int:
        """Return the day time."""
        return self._now_us

    def wall(self) -> int:
        """Return the same as the day time."""
        return self._now_us

    def monotonic(self) -> int:
        """Return the microseconds since the start."""
        return self._now_us - self._start_us

    async def wait_until(self, at_us: int) -> None:
        """Return when time was moved to ``at_us`` or later."""
        await anyio.lowlevel.checkpoint()
        if at_us <= self._now_us:
            return

        event = anyio.Event()
        waiter = (at_us, next(self._order), event)
        heapq.heappush(self._waiters, waiter)
        try:
            await event.wait()
        finally:
            if waiter in self._waiters:
                self._waiters.remove(waiter)
                heapq.heapify(self._waiters)

    def advance(self, by_us: int) -> None:
        """Move time on and wake whoever waited for that, earliest first."""
        if by_us < 0:
            raise ValueError(f"time does not go back, got {by_us}")

        self._now_us += by_us
        while self._waiters and self._waiters[0][0] <= self._now_us:
            heapq.heappop(self._waiters)[2].set()

    async def jump(self, held: Callable[[], bool] = lambda: False) -> bool:
        """Once every task waits, move to the earliest waiter's moment; tell whether there was one.

        A task that waits for another thread counts as waiting.

        Args:
            held: tells that something outside these tasks must end first, looked at right before time moves.
        """
        await _all_wait()
        if not self._waiters or held():
            return False

        self.advance(max(0, self._waiters[0][0] - self._now_us))
        return True

    async def run(self) -> None:
        """Jump for ever; to be started in a task group beside what uses the clock, and cancelled at its end."""
        while True:
            if not await self.jump():
                # Only something outside this event loop can go on now.
                await anyio.sleep(_OUTSIDE_S)


async def _all_wait() -> None:
    # As the library's own wait for all tasks to block, without its pause of a tenth of a second at each look.
    await anyio.lowlevel.checkpoint()
    ourselves = asyncio.current_task()
    while any(_can_go_on(task) for task in asyncio.all_tasks() if task is not ourselves):
        await anyio.lowlevel.checkpoint()


def _can_go_on(task: asyncio.Task[object]) -> bool:
    waits_for = getattr(task, "_fut_waiter", None)
    return waits_for is None or waits_for.done()
