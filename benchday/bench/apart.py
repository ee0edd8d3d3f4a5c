"""Where long sums are done, so that no write waits for them: in processes of their own.

In a thread of this process they would share the interpreter's lock with the lines: each block of a transfer would then
wait for the next switch between threads (5 ms, ``sys.getswitchinterval``) several times over.
"""

from __future__ import annotations

import pickle
import subprocess
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from typing import Any, Protocol, TypeVar, cast

import anyio
import anyio.to_thread
from anyio.abc import Process
from anyio.streams.buffered import BufferedByteReceiveStream

from benchday.domain.errors import BenchdayError

T = TypeVar("T")
AT_ONCE = 2
"""So many processes at most: what a person asks about need not wait for an order that is being searched."""
HEAD = 8
"""Bytes that tell how long an answer is."""
_ENDS_S = 2.0
"""How long a process may take to end by itself."""


class SumBroken(BenchdayError):
    """The process that did a sum has gone."""


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
    """Does sums in processes that are kept for the next one; made by ``in_processes``."""

    def __init__(self) -> None:
        self._limit = anyio.CapacityLimiter(AT_ONCE)
        self._idle: list[Process] = []

    async def __call__(self, work: Callable[[], T], /) -> T:
        """Return what ``work`` returns; whoever is cancelled meanwhile ends the process.

        Raises:
            SumBroken: the process was ended by somebody, or could not be started.
        """
        asked = pickle.dumps(work, protocol=pickle.HIGHEST_PROTOCOL)
        async with self._limit:
            process = self._idle.pop() if self._idle else await _started()
            kept = False
            try:
                done, found = await _answer(process, asked)
                kept = True
            finally:
                if not kept:
                    with anyio.CancelScope(shield=True):
                        await _ended(process, at_once=True)
            self._idle.append(process)
        if not done:
            raise found
        return cast("T", found)

    async def aclose(self) -> None:
        """End the processes that wait for work."""
        with anyio.CancelScope(shield=True):
            while self._idle:
                await _ended(self._idle.pop(), at_once=False)


@asynccontextmanager
async def in_processes() -> AsyncIterator[InProcesses]:
    """Do sums in processes that end with this context."""
    apart = InProcesses()
    try:
        yield apart
    finally:
        await apart.aclose()


async def _started() -> Process:
    # It finds what this program found, wherever that was run from.
    program = f"import sys; sys.path[:] = {sys.path!r}; from benchday.bench.apart_process import main; main()"
    command = [sys.executable, "-c", program]
    try:
        # A session of its own: what is typed at our terminal, or its end, must not reach it, also while it starts.
        return await anyio.open_process(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=None, start_new_session=True
        )
    except OSError as error:
        raise SumBroken(f"a process for sums cannot be started: {error}") from error


async def _answer(process: Process, asked: bytes) -> tuple[bool, Any]:
    assert process.stdin is not None  # noqa: S101  # it was opened with both
    assert process.stdout is not None  # noqa: S101
    answers = BufferedByteReceiveStream(process.stdout)
    try:
        await process.stdin.send(len(asked).to_bytes(HEAD, "big") + asked)
        size = int.from_bytes(await answers.receive_exactly(HEAD), "big")
        answer = await answers.receive_exactly(size)
    except (anyio.BrokenResourceError, anyio.ClosedResourceError, anyio.IncompleteRead, anyio.EndOfStream) as error:
        raise SumBroken(f"the process that did a sum has gone, with status {process.returncode}") from error
    done, found = pickle.loads(answer)  # noqa: S301  # from a process that this one started, through its own pipe
    return bool(done), found


async def _ended(process: Process, *, at_once: bool) -> None:
    with suppress(ProcessLookupError):
        if at_once:
            process.kill()
        elif process.stdin is not None:
            await process.stdin.aclose()
    with anyio.move_on_after(_ENDS_S) as waiting:
        await process.wait()
    if waiting.cancelled_caught:
        with suppress(ProcessLookupError):
            process.kill()
        await process.wait()
    await process.aclose()
