"""Datagrams to one address and from it alone."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager

import anyio
import pytest

from benchday.devices.links.udp import MOST_BYTES, open_udp
from benchday.domain.errors import LinkGone, LinkNotFound


@contextmanager
def far_end() -> Iterator[tuple[socket.socket, str]]:
    """A socket on loopback, and where it is."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as far:
        far.bind(("127.0.0.1", 0))
        far.settimeout(5)
        yield far, f"127.0.0.1:{far.getsockname()[1]}"


@pytest.mark.asyncio
async def test_datagrams_go_and_come_whole() -> None:
    with far_end() as (far, where):
        link = await open_udp(where)
        await link.send(bytes(MOST_BYTES))
        data, ours = far.recvfrom(2048)
        assert data == bytes(MOST_BYTES)
        far.sendto(b"one", ours)
        far.sendto(b"two", ours)
        assert [await link.receive(), await link.receive()] == [b"one", b"two"]
        await link.aclose()


@pytest.mark.asyncio
async def test_what_comes_from_elsewhere_is_not_heard() -> None:
    with far_end() as (far, where), far_end() as (stranger, _):
        link = await open_udp(where)
        await link.send(b"hello")
        _, ours = far.recvfrom(64)
        stranger.sendto(b"from elsewhere", ours)
        far.sendto(b"from there", ours)
        assert await link.receive() == b"from there"
        await link.aclose()


@pytest.mark.asyncio
async def test_nobody_there_is_silence_and_not_the_end() -> None:
    """A unit that starts anew has nobody listening for a while; afterwards it is heard again."""
    with far_end() as (_, where):
        pass
    link = await open_udp(where)
    for _ in range(3):
        await link.send(b"anybody?")
        with anyio.move_on_after(0.05) as waiting:
            await link.receive()
        assert waiting.cancelled_caught
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as far:
        far.bind(("127.0.0.1", int(where.rpartition(":")[2])))
        far.settimeout(5)
        await link.send(b"now?")
        _, ours = far.recvfrom(64)
        far.sendto(b"here", ours)
        with anyio.fail_after(5):
            assert await link.receive() == b"here"
    await link.aclose()


@pytest.mark.asyncio
async def test_closing_wakes_who_waits() -> None:
    with far_end() as (_, where):
        link = await open_udp(where)

        async def wait() -> None:
            with pytest.raises(LinkGone, match="closed"):
                await link.receive()

        with anyio.fail_after(5):
            async with anyio.create_task_group() as waiting:
                waiting.start_soon(wait)
                await anyio.wait_all_tasks_blocked()
                await link.aclose()
        with pytest.raises(LinkGone):
            await link.send(b"late")
        await link.aclose()


@pytest.mark.asyncio
async def test_nothing_that_would_be_taken_apart_is_sent() -> None:
    with far_end() as (_, where):
        link = await open_udp(where)
        with pytest.raises(ValueError, match="at most 1232"):
            await link.send(bytes(MOST_BYTES + 1))
        await link.aclose()


@pytest.mark.asyncio
@pytest.mark.parametrize("where", ["", "127.0.0.1", "127.0.0.1:", "127.0.0.1:0", "127.0.0.1:70000", ":5", "host:x"])
async def test_what_is_no_address_is_told(where: str) -> None:
    with pytest.raises(LinkNotFound, match="expected udp://host:port"):
        await open_udp(where)
