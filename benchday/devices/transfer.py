"""Drives a transfer over a byte stream: few awaits a block, none for a byte."""

from __future__ import annotations

import time
from collections.abc import AsyncGenerator, Awaitable, Callable
from typing import Protocol

import anyio

from benchday.devices.file_head import FileHead
from benchday.devices.late import heard_until
from benchday.devices.xmodem import Machine, Turn
from benchday.domain.seams import ByteStream

Monotonic = Callable[[], int]
"""Microseconds of a clock that never steps."""


def monotonic_us() -> int:
    """Read this machine's monotonic clock in microseconds."""
    return time.monotonic_ns() // 1000


class Inbox(Protocol):
    """Where the files of a batch go, one after the other. A file that is cut short is never ended: see the machine."""

    async def begin(self, head: FileHead) -> None:
        """A file begins. Its name is fit for a file system; names may come twice."""
        ...

    async def take(self, piece: bytes) -> None:
        """Its content, in order."""
        ...

    async def end(self) -> None:
        """It is whole. Keep it: only when this returns is the other side told so."""
        ...


Sink = Callable[[bytes], Awaitable[None]]


async def drive(
    stream: ByteStream,
    machine: Machine,
    *,
    heard: bytes = b"",
    sink: Sink | None = None,
    inbox: Inbox | None = None,
    clock: Monotonic = monotonic_us,
) -> AsyncGenerator[int]:
    """Run one side of a transfer to its end, yielding how many bytes are done whenever that grows.

    Afterwards ``machine.ending`` says how it ended, and ``machine.rest`` holds what was heard beyond.

    Args:
        stream: the line.
        machine: the side that is played here.
        heard: what was read off the line before.
        sink: gets what a receiver receives, in order; of a batch, the content of all files.
        inbox: gets the files of a batch.
        clock: monotonic microseconds.

    Raises:
        LinkGone: the line vanished on the way.
    """
    told = 0
    while True:
        turn = machine.turn(heard, clock())
        if turn.closes:
            await _hand_over(turn, sink, inbox)
        if turn.send:
            await stream.send(turn.send)
        if not turn.closes:
            await _hand_over(turn, sink, inbox)
        if machine.done_bytes > told:
            told = machine.done_bytes
            yield told
        if machine.ending is not None:
            return
        heard = await _heard(stream, turn.wake_us, clock, listen=turn.listen)


async def _heard(stream: ByteStream, wake_us: int, clock: Monotonic, *, listen: bool) -> bytes:
    if not listen:
        await anyio.sleep(max(wake_us - clock(), 0) / 1e6)
        return b""
    return await heard_until(stream, wake_us, clock)


async def _hand_over(turn: Turn, sink: Sink | None, inbox: Inbox | None) -> None:
    if inbox is not None and turn.opens is not None:
        await inbox.begin(turn.opens)
    for piece in turn.content:
        if sink is not None:
            await sink(piece)
        if inbox is not None:
            await inbox.take(piece)
    if inbox is not None and turn.closes:
        await inbox.end()
