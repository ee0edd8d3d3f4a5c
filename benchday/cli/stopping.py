"""Signals: Ctrl-C, SIGTERM and SIGHUP ask the day to stop; a terminal that is left or gone must not cut a write."""

from __future__ import annotations

import asyncio
import errno
import signal
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from types import FrameType
from typing import Any

import anyio

from benchday.bench.desk import BenchDesk
from benchday.cli.conduct import complain
from benchday.domain.seams import Desk, Operators

GONE = (errno.EPIPE, errno.EIO, errno.EBADF, errno.ENXIO)
"""What is said when nobody reads any more: a pipe without a reader, a terminal that was closed."""
NOT_PUT_ASIDE = (
    "Not put aside: units that are served must not be left waiting. Use another terminal; /stop or Ctrl-C ends the day."
)
_MOST_WAITING = 16
"""Signals that may wait to be answered; more say nothing new."""


class Interruptible:
    """A face beside which signals are heard, from before the day begins until its last write has ended."""

    def __init__(self, face: Operators, say: Callable[[str], None] = complain) -> None:
        self._face = face
        self._say = say
        self._desk: BenchDesk | None = None
        self._hearing = False
        self.interrupted = False
        """A signal asked for the stop."""

    async def serve(self, desk: Desk) -> None:
        """Serve until the face ends or is cancelled; a face whose reader has gone has ended."""
        self._desk = bench_desk(desk)
        async with AsyncExitStack() as around:
            if not self._hearing:
                await around.enter_async_context(self.heard())
            try:
                await self._face.serve(desk)
            except* OSError as gone:
                if not _all_gone(gone):
                    raise

    @asynccontextmanager
    async def heard(self) -> AsyncIterator[None]:
        """Hear signals while the context is open: also once the face has ended, as long as a write is let finish."""
        asked, told = anyio.create_memory_object_stream[int](_MOST_WAITING)
        async with asked, told, anyio.create_task_group() as tasks:
            old = self._handlers(asked.send_nowait)
            self._hearing = True
            tasks.start_soon(self._answer, told)
            try:
                yield
            finally:
                self._hearing = False
                for number, handler in old.items():
                    signal.signal(number, handler)
                tasks.cancel_scope.cancel()

    def _handlers(self, put: Callable[[int], None]) -> Mapping[signal.Signals, Any]:
        loop = asyncio.get_running_loop()
        old = {number: signal.getsignal(number) for number in _signals(_STOPS | _WAITS | _LEFT)}

        def noted(number: int) -> None:
            with suppress(anyio.WouldBlock, anyio.ClosedResourceError, anyio.BrokenResourceError):
                put(number)

        def hear(number: int, frame: FrameType | None) -> None:
            before = old.get(signal.SIGINT)
            if self._desk is None and number in _signals(_STOPS) and callable(before):
                # Nothing is written yet: whatever asks for it, the program ends as at Ctrl-C.
                before(signal.SIGINT, frame)
                return
            loop.call_soon_threadsafe(noted, number)

        for number in old:
            # One that is left in the background and types or reads is told of an error instead of being stopped.
            signal.signal(number, signal.SIG_IGN if number.name in _LEFT else hear)
        return old

    async def _answer(self, told: Any) -> None:
        async for number in told:
            if self._desk is None:
                continue
            if signal.Signals(number).name in _WAITS:
                text = NOT_PUT_ASIDE
            else:
                self.interrupted = True
                text = self._desk.stop() if number == signal.SIGINT else self._desk.stop_once()
            # The terminal may be what has gone.
            with suppress(OSError, ValueError):
                self._say(text)


_STOPS = frozenset({"SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"})
_WAITS = frozenset({"SIGTSTP"})
_LEFT = frozenset({"SIGTTIN", "SIGTTOU"})


def _signals(names: frozenset[str]) -> tuple[signal.Signals, ...]:
    """Return those that this system has."""
    return tuple(signal.Signals[name] for name in sorted(names) if hasattr(signal, name))


def _all_gone(group: BaseExceptionGroup[OSError]) -> bool:
    return all(_all_gone(one) if isinstance(one, BaseExceptionGroup) else one.errno in GONE for one in group.exceptions)


def bench_desk(desk: Desk) -> BenchDesk:
    """Return the desk as the bench's own, which offers more than the seam.

    Raises:
        TypeError: it is another's.
    """
    if not isinstance(desk, BenchDesk):
        raise TypeError(f"the terminal serves at a bench's desk, not at a {type(desk).__name__}")
    return desk
