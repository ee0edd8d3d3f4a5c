"""What every link promises, as plain async functions that take a maker; for our links and for anybody's.

A maker is called without arguments and returns an async context manager that yields ``(link, far)``.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from typing import Protocol

import anyio

from benchday.domain.errors import LinkGone
from benchday.domain.seams import Link


class FarEnd(Protocol):
    """The other end of the line, as a test holds it."""

    async def send(self, item: bytes) -> None: ...

    async def receive(self, max_bytes: int = 65536) -> bytes: ...

    async def vanish(self) -> None:
        """Let the line vanish, as if the cable came out."""
        ...


MakeLink = Callable[[], AbstractAsyncContextManager[tuple[Link, FarEnd]]]
ALL_BYTES = bytes(range(256))
_LIMIT_S = 10.0


@asynccontextmanager
async def made(make: MakeLink) -> AsyncIterator[tuple[Link, FarEnd]]:
    """Make a link for one check, within a time limit."""
    with anyio.fail_after(_LIMIT_S):
        async with make() as (link, far):
            yield link, far


async def exactly(receive: Callable[[], Awaitable[bytes]], count: int) -> bytes:
    """Receive until so many bytes have come."""
    got = b""
    while len(got) < count:
        piece = await receive()
        assert piece, "a receive returned nothing"
        got += piece

    return got


async def carries_every_byte(make: MakeLink) -> None:
    """All 256 values pass both ways, unchanged."""
    async with made(make) as (link, far):
        await link.send(ALL_BYTES * 4)
        assert await exactly(far.receive, 1024) == ALL_BYTES * 4
        await far.send(ALL_BYTES * 4)
        assert await exactly(link.receive, 1024) == ALL_BYTES * 4


async def receives_no_more_than_asked(make: MakeLink) -> None:
    """``max_bytes`` is kept, and the rest is not lost."""
    async with made(make) as (link, far):
        await far.send(b"12345678")
        first = await link.receive(3)
        assert 1 <= len(first) <= 3
        assert first + await exactly(link.receive, 8 - len(first)) == b"12345678"


async def cancelled_receive_loses_nothing(make: MakeLink) -> None:
    """What comes after a receive was cancelled is received by the next."""
    async with made(make) as (link, far):
        with anyio.move_on_after(0.01):
            await link.receive()
        await far.send(b"after")
        assert await exactly(link.receive, 5) == b"after"


async def large_send_arrives_whole(make: MakeLink) -> None:
    """A send larger than any buffer waits and arrives whole."""
    data = ALL_BYTES * 1024
    async with made(make) as (link, far), anyio.create_task_group() as both:
        both.start_soon(link.send, data)
        assert await exactly(far.receive, len(data)) == data


async def vanished_line_wakes_a_receive(make: MakeLink) -> None:
    """A pending receive raises LinkGone when the line vanishes; so does the next."""
    async with made(make) as (link, far):
        async with anyio.create_task_group() as both:
            both.start_soon(_raises_gone, link.receive)
            await anyio.wait_all_tasks_blocked()
            await far.vanish()
        await _raises_gone(link.receive)


async def vanished_line_refuses_a_send(make: MakeLink) -> None:
    """Sending on a line that has vanished raises LinkGone, at the latest when its buffers are full."""
    async with made(make) as (link, far):
        await far.vanish()

        async def send_much() -> None:
            for _ in range(10_000):
                await link.send(ALL_BYTES * 16)

        await _raises_gone(send_much)


async def abort_wakes_a_receive(make: MakeLink) -> None:
    """``abort`` makes a pending receive raise LinkGone, and everything after it."""
    async with made(make) as (link, _):
        async with anyio.create_task_group() as both:
            both.start_soon(_raises_gone, link.receive)
            await anyio.wait_all_tasks_blocked()
            link.abort()
        await _raises_gone(link.receive)
        await _raises_gone(lambda: link.send(b"x"))


async def closes_twice_and_stays_closed(make: MakeLink) -> None:
    """Closing is final and may be repeated."""
    async with made(make) as (link, _):
        await link.aclose()
        await link.aclose()
        await _raises_gone(link.receive)
        await _raises_gone(lambda: link.send(b"x"))


async def closes_with_unsent_output(make: MakeLink) -> None:
    """Closing does not wait for output that nobody takes."""
    async with made(make) as (link, _):
        with anyio.move_on_after(0.2):
            await link.send(ALL_BYTES * 4096)
        with anyio.fail_after(4):
            await link.aclose()


async def discards_what_came(make: MakeLink) -> None:
    """What came before ``discard_input`` is not received; what comes after it is."""
    async with made(make) as (link, far):
        await far.send(b"old")
        assert await link.receive(1) == b"o"  # the rest has come too
        await link.discard_input()
        await far.send(b"new")
        assert await exactly(link.receive, 3) == b"new"


async def takes_rates_and_shows_lines(make: MakeLink) -> None:
    """The rate can be set and the control lines be read, whether the link has them or not."""
    async with made(make) as (link, far):
        await link.set_baud(9600)
        lines = link.modem_lines()
        assert {lines.cts, lines.dsr, lines.dcd} <= {None, True, False}
        await far.send(b"still here")
        assert await exactly(link.receive, 10) == b"still here"
        with anyio.move_on_after(0.05) as quiet:
            await link.receive()
        assert quiet.cancelled_caught, "after set_baud a receive without input returned"


async def _raises_gone(call: Callable[[], Awaitable[object]]) -> None:
    try:
        await call()
    except LinkGone as error:
        assert str(error), "LinkGone says nothing"
    else:
        raise AssertionError("expected LinkGone")


CHECKS: tuple[Callable[[MakeLink], Awaitable[None]], ...] = (
    carries_every_byte,
    receives_no_more_than_asked,
    cancelled_receive_loses_nothing,
    large_send_arrives_whole,
    vanished_line_wakes_a_receive,
    vanished_line_refuses_a_send,
    abort_wakes_a_receive,
    closes_twice_and_stays_closed,
    closes_with_unsent_output,
    discards_what_came,
    takes_rates_and_shows_lines,
)
"""All of them, to run one by one."""
