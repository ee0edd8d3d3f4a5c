"""Drives a transfer over a byte stream: few awaits a block, none for a byte."""

from __future__ import annotations

import time
from collections.abc import AsyncGenerator, Awaitable, Callable

import anyio

from benchday.devices.xmodem import Machine
from benchday.domain.seams import ByteStream

Monotonic = Callable[[], int]
"""Microseconds of a clock that never steps."""


def monotonic_us() -> int:
    """Read this machine's monotonic clock in microseconds."""
    return time.monotonic_ns() // 1000


async def drive(
    stream: ByteStream,
    machine: Machine,
    *,
    heard: bytes = b"",
    sink: Callable[[bytes], Awaitable[None]] | None = None,
    clock: Monotonic = monotonic_us,
) -> AsyncGenerator[int]:
    """Run one side of a transfer to its end, yielding how many bytes are done whenever that grows.

    Afterwards ``machine.ending`` says how it ended, and ``machine.rest`` holds what was heard beyond.

    Args:
        stream: the line.
        machine: the side that is played here.
        heard: what was read off the line before.
        sink: gets what a receiver receives, in order.
        clock: monotonic microseconds.

    Raises:
        LinkGone: the line vanished on the way.
    """
    told = 0
    while True:
        turn = machine.turn(heard, clock())
        if turn.send:
            await stream.send(turn.send)
        if sink is not None:
            for piece in turn.content:
                await sink(piece)
        if machine.done_bytes > told:
            told = machine.done_bytes
            yield told
        if machine.ending is not None:
            return
        heard = await _heard(stream, (turn.wake_us - clock()) / 1e6, listen=turn.listen)


async def _heard(stream: ByteStream, wait_s: float, *, listen: bool) -> bytes:
    if not listen:
        await anyio.sleep(max(wait_s, 0))
        return b""
    with anyio.move_on_after(max(wait_s, 0)):
        return await stream.receive()

    return b""
