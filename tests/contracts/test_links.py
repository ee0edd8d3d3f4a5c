"""Every link keeps what links promise."""

from __future__ import annotations

import socket
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path

import anyio
import anyio.abc
import pytest

from benchday.devices.links import LineSettings, open_link, serial_threads
from benchday.devices.links.memory import MemoryLink, memory_pair
from benchday.domain.seams import Link
from benchday.testing.links import CHECKS, FarEnd, MakeLink
from tests.devices.ptys import PtyEnd, pty_end
from tests.devices.ser2net import Server, ser2net


@asynccontextmanager
async def over_a_port() -> AsyncIterator[tuple[Link, FarEnd]]:
    """The serial link on a pseudo-terminal."""
    async with pty_end() as far:
        link = await open_link(far.path)
        yield link, far
        await link.aclose()


@asynccontextmanager
async def over_a_port_with_threads() -> AsyncIterator[tuple[Link, FarEnd]]:
    """The twin for other systems on a pseudo-terminal."""
    async with pty_end() as far:
        link = await serial_threads.open_serial(far.path, LineSettings())
        yield link, far
        await link.aclose()


class SocketEnd:
    """The far end of a TCP connection."""

    def __init__(self, stream: anyio.abc.SocketStream) -> None:
        self._stream = stream
        self.send = stream.send
        self.receive = stream.receive

    async def vanish(self) -> None:
        await anyio.aclose_forcefully(self._stream)


@asynccontextmanager
async def over_tcp() -> AsyncIterator[tuple[Link, FarEnd]]:
    """The network link on loopback."""
    accepted, come = anyio.create_memory_object_stream[anyio.abc.SocketStream](1)
    listener = await anyio.create_tcp_listener(local_host="127.0.0.1", family=socket.AddressFamily.AF_INET)
    async with listener, accepted, come, anyio.create_task_group() as serving:
        serving.start_soon(listener.serve, accepted.send)
        port = listener.extra(anyio.abc.SocketAttribute.local_port)  # noqa: S610  # no database in sight
        link = await open_link(f"socket://127.0.0.1:{port}")
        stream = await come.receive()
        yield link, SocketEnd(stream)
        await link.aclose()
        await anyio.aclose_forcefully(stream)
        serving.cancel_scope.cancel()


class ServedEnd:
    """A pseudo-terminal behind a serial server; the line vanishes when the server does."""

    def __init__(self, far: PtyEnd, server: Server) -> None:
        self.send, self.receive, self._server = far.send, far.receive, server

    async def vanish(self) -> None:
        self._server.kill()


@asynccontextmanager
async def behind_a_server(scheme: str) -> AsyncIterator[tuple[Link, FarEnd]]:
    """A link to ser2net in front of a pseudo-terminal."""
    with tempfile.TemporaryDirectory() as folder:
        async with pty_end() as far:
            with ser2net(far.path, Path(folder), scheme) as server:
                link = await open_link(server.where)
                yield link, ServedEnd(far, server)
                await link.aclose()


@asynccontextmanager
async def over_rfc2217() -> AsyncIterator[tuple[Link, FarEnd]]:
    """The link that sets a server's port."""
    async with behind_a_server("rfc2217") as ends:
        yield ends


@asynccontextmanager
async def over_tcp_and_a_port() -> AsyncIterator[tuple[Link, FarEnd]]:
    """The raw link to the same server."""
    async with behind_a_server("socket") as ends:
        yield ends


class MemoryEnd:
    """The far end of a pair in memory."""

    def __init__(self, other: MemoryLink) -> None:
        self.send, self.receive, self._other = other.send, other.receive, other

    async def vanish(self) -> None:
        self._other.abort()


@asynccontextmanager
async def in_memory() -> AsyncIterator[tuple[Link, FarEnd]]:
    """The pair in memory."""
    link, other = memory_pair()
    yield link, MemoryEnd(other)


MAKERS: tuple[Callable[[], AbstractAsyncContextManager[tuple[Link, FarEnd]]], ...] = (
    over_a_port,
    over_a_port_with_threads,
    over_tcp,
    over_rfc2217,
    over_tcp_and_a_port,
    in_memory,
)


@pytest.mark.asyncio
@pytest.mark.parametrize("make", MAKERS, ids=lambda make: make.__name__)
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
async def test_promise(check: Callable[[MakeLink], Awaitable[None]], make: MakeLink) -> None:
    """Each promise, for each kind of link."""
    await check(make)
