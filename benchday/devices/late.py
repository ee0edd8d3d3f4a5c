"""Waiting for what comes, by a program that may itself have been away meanwhile."""

from __future__ import annotations

from collections.abc import Callable

import anyio

from benchday.domain.seams import ByteStream

LATE_US = 2_000_000
"""A limit that passed so long before anybody looked tells of this program, not of the other side."""
LOOK_S = 1.0
"""So long what came meanwhile is looked for then."""


async def heard_until(stream: ByteStream, until_us: int, clock: Callable[[], int]) -> bytes:
    """Return what comes until a moment; nothing if nothing does.

    Stopped, or asleep, a program finds the limit passed together with the answer that came in time.

    Raises:
        LinkGone: the line vanished.
    """
    data = b""
    with anyio.move_on_after(max(until_us - clock(), 0) / 1e6):
        data = await stream.receive()
    if not data and clock() - until_us > LATE_US:
        with anyio.move_on_after(LOOK_S):
            data = await stream.receive()
    return data
