"""Ctrl-C, SIGTERM and SIGHUP: each asks the day to stop, and what that means is said."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Callable

import anyio

from benchday.bench.desk import BenchDesk
from benchday.cli.conduct import complain
from benchday.domain.seams import Desk, Operators


class Interruptible:
    """A face beside which signals are heard."""

    def __init__(self, face: Operators, say: Callable[[str], None] = complain) -> None:
        self._face = face
        self._say = say
        self.interrupted = False
        """A signal asked for the stop."""

    async def serve(self, desk: Desk) -> None:
        """Serve until the face ends or is cancelled."""
        bench = bench_desk(desk)
        async with anyio.create_task_group() as both:
            both.start_soon(self._hear, bench)
            await self._face.serve(desk)
            both.cancel_scope.cancel()

    async def _hear(self, desk: BenchDesk) -> None:
        asked, told = anyio.create_memory_object_stream[None](16)
        old = {number: signal.getsignal(number) for number in _signals()}

        def hear(_: int, __: object) -> None:
            loop.call_soon_threadsafe(asked.send_nowait, None)

        loop = asyncio.get_running_loop()
        for number in old:
            signal.signal(number, hear)
        try:
            async with asked, told:
                async for _ in told:
                    self.interrupted = True
                    self._say(desk.stop())
        finally:
            for number, handler in old.items():
                signal.signal(number, handler)


def _signals() -> tuple[signal.Signals, ...]:
    names = ("SIGINT", "SIGTERM", "SIGHUP")
    return tuple(signal.Signals[name] for name in names if hasattr(signal, name))


def bench_desk(desk: Desk) -> BenchDesk:
    """Return the desk as the bench's own, which offers more than the seam.

    Raises:
        TypeError: it is another's.
    """
    if not isinstance(desk, BenchDesk):
        raise TypeError(f"the terminal serves at a bench's desk, not at a {type(desk).__name__}")
    return desk
