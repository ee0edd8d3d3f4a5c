"""Where long sums are done, so that no write waits for them: in a process of their own.

In a thread of this process they would share the interpreter's lock with the lines: each block of a transfer would then
wait for the next switch between threads (5 ms, ``sys.getswitchinterval``) several times over.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from contextlib import suppress
from typing import Protocol, TypeVar

import anyio
import anyio.to_process
import anyio.to_thread

T = TypeVar("T")
AT_ONCE = 2
"""So many processes at most: what a person asks about need not wait for an order that is being searched."""
_NICE = 10
"""The writes go first wherever the processors are few (nice value, POSIX)."""


class Apart(Protocol):
    """Does a sum apart from the running day."""

    async def __call__(self, work: Callable[[], T], /) -> T:
        """Return what ``work`` returns, or raise what it raises.

        Args:
            work: a function of a module, or a ``functools.partial`` of one, so that another process can be handed it.
        """
        ...


async def in_a_thread(work: Callable[[], T], /) -> T:
    """Do it in a thread of this process: for small sums, and where no other process may be started."""
    return await anyio.to_thread.run_sync(work)


class InProcesses:
    """Does sums in processes that end with this one, and that Ctrl-C does not reach."""

    def __init__(self) -> None:
        self._limit = anyio.CapacityLimiter(AT_ONCE)

    async def __call__(self, work: Callable[[], T], /) -> T:
        """Return what ``work`` returns; whoever is cancelled meanwhile ends the process.

        Raises:
            BrokenWorkerProcess: the process was ended by somebody, or could not be started.
        """
        return await anyio.to_process.run_sync(_aside, work, cancellable=True, limiter=self._limit)


def _aside(work: Callable[[], T]) -> T:
    """Work with less right to the processor; runs in the other process, which may have done so before."""
    # The terminal sends Ctrl-C to all processes; what it means is for the one that runs the day to say.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        with suppress(OSError):
            os.nice(max(0, _NICE - os.nice(0)))
    return work()
