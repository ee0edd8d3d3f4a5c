"""A unit that was just switched on: nobody listens at its page yet."""

from __future__ import annotations

import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import cast

import anyio
import httpx
import pytest

from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.page import PageDriver
from benchday.devices.drivers.web_session import Address, WebLimits, WebSession
from benchday.domain.errors import LinkGone, LinkNotFound
from tests.devices.page_server import PLAIN, QUICK, good, server
from tests.devices.pages import with_page

pytestmark = pytest.mark.asyncio

OK = b"HTTP/1.1 200 OK\r\nConnection: close\r\nContent-Length: 2\r\n\r\n{}"
LATE_S, LONG_S = 0.4, 60.0


@asynccontextmanager
async def session_at(bound: socket.socket, appears_s: float) -> AsyncIterator[WebSession]:
    """Give a session with whoever is to listen at a socket."""
    port = bound.getsockname()[1]
    session = WebSession(lambda: Address(f"http://127.0.0.1:{port}"), WebLimits(appears_s=appears_s))
    yield session
    await session.aclose()


@pytest.fixture
def bound() -> socket.socket:
    """Give a port that is taken, and at which nobody listens."""
    made = socket.socket()
    made.bind(("127.0.0.1", 0))
    return made


def _answer_once(bound: socket.socket) -> None:
    taken, _ = bound.accept()
    with taken:
        taken.recv(65_536)
        taken.sendall(OK)


async def test_it_is_waited_for(bound: socket.socket) -> None:
    async def comes_up() -> None:
        await anyio.sleep(LATE_S)
        bound.listen()
        await anyio.to_thread.run_sync(_answer_once, bound)

    with bound:
        async with session_at(bound, LONG_S) as session, anyio.create_task_group() as tasks:
            tasks.start_soon(comes_up)
            with anyio.fail_after(LONG_S):
                assert (await session.ask("GET", "/status")).status == httpx.codes.OK


async def test_a_declared_page_is_waited_for_as_well() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    up = anyio.Event()

    async def comes_up() -> None:
        await anyio.sleep(LATE_S)
        async with server(good, port=port):
            await up.wait()

    told = {**QUICK, "user": "heron", "password": "heron", "appears_s": LONG_S, "answer_s": LONG_S}
    place = Place(f"http://127.0.0.1:{port}", told, playbook=with_page(PLAIN), unit="7")
    driver = cast("PageDriver", await make_driver("page", place))
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(comes_up)
        with anyio.fail_after(LONG_S):
            assert (await driver.identify()).serial == "7"
        await driver.aclose()
        up.set()


async def test_one_that_stays_away_is_told_as_before(bound: socket.socket) -> None:
    with bound:
        async with session_at(bound, 0.1) as session:
            with pytest.raises(LinkNotFound, match="nobody answers at http"):
                await session.ask("GET", "/status")


async def test_one_that_answered_before_is_not_waited_for(bound: socket.socket) -> None:
    """It went off, or restarts: whoever asks then has limits of their own."""
    with bound:
        bound.listen()
        async with session_at(bound, LONG_S) as session, anyio.create_task_group() as tasks:
            tasks.start_soon(anyio.to_thread.run_sync, _answer_once, bound)
            await session.ask("GET", "/status")
            bound.close()
            with anyio.fail_after(LONG_S / 2), pytest.raises((LinkNotFound, LinkGone)):
                await session.ask("GET", "/status")
