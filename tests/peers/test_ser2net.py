"""ser2net, which other people wrote, between the driver and a simulated unit: each step of a service, each loss."""

from __future__ import annotations

import signal
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path

import anyio
import pytest

from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.console import ConsoleDriver
from benchday.devices.links import open_link, rfc2217
from benchday.domain.errors import LinkBusy, LinkGone, LinkNotFound, LinkSilent, TransferCut
from benchday.testing.drivers import (
    Bed,
    MakeBed,
    fetches_whole_copies,
    reads_the_unit,
    writes_and_restarts,
)
from tests.devices.acts import image_for, spent, write_act
from tests.devices.ptys import pty_end
from tests.devices.ser2net import Server, ser2net
from tests.simulators.stranger import SERIAL, Process, unit

pytestmark = [pytest.mark.peer, pytest.mark.asyncio]
HARDWARE = "A B C"
STEPS = (reads_the_unit, fetches_whole_copies, writes_and_restarts)


@asynccontextmanager
async def served(
    folder: Path, scheme: str = "rfc2217", speed: float = 3000, **settings: object
) -> AsyncIterator[tuple[ConsoleDriver, Server, Process]]:
    """A simulated unit, the server in front of its port, and the driver on the server."""
    with (
        unit("Millrace", folder / SERIAL, speed=speed) as process,
        ser2net(str(process.link.resolve()), folder, scheme) as server,
    ):
        driver = await make_driver("console", Place(server.where, {"poll_s": 0.05, **settings}))
        assert isinstance(driver, ConsoleDriver)
        try:
            with anyio.fail_after(60):
                yield driver, server, process
        finally:
            await driver.aclose()


@asynccontextmanager
async def bed(folder: Path, scheme: str) -> AsyncIterator[Bed]:
    """What the suite of drivers wants."""
    async with served(folder, scheme) as (driver, _, process):
        recorded = {path.name: path.read_bytes() for path in (process.folder / "recordings").iterdir()}
        yield Bed(driver, SERIAL, image_for("Millrace", HARDWARE), "9.9", partial(spent, SERIAL), recorded)


@pytest.mark.parametrize("check", STEPS, ids=lambda check: check.__name__)
async def test_every_step_where_the_port_is_set(check: Callable[[MakeBed], Awaitable[None]], tmp_path: Path) -> None:
    await check(partial(bed, tmp_path, "rfc2217"))


async def test_a_write_over_plain_bytes(tmp_path: Path) -> None:
    await writes_and_restarts(partial(bed, tmp_path, "socket"))


@pytest.mark.parametrize("scheme", ["rfc2217", "socket"])
async def test_a_server_that_is_killed_is_gone_at_once(tmp_path: Path, scheme: str) -> None:
    async with served(tmp_path, scheme) as (driver, server, _):
        await driver.identify()
        server.kill()
        with anyio.fail_after(5), pytest.raises(LinkGone, match=r"127\.0\.0\.1:\d+ has ended the connection"):
            await driver.identify()


async def test_a_server_that_is_killed_in_a_write_leaves_it_cut(tmp_path: Path) -> None:
    """At the line's own rate, so that the image is on its way for some seconds."""
    image = image_for("Millrace", HARDWARE)
    async with served(tmp_path, speed=1) as (driver, server, _):

        async def write() -> None:
            async for progress in driver.write(write_act(SERIAL, image), image):
                if progress.done > 2000:
                    server.kill()

        with pytest.raises(TransferCut, match="may be half written: leave it connected"):
            await write()


async def test_a_server_that_hangs_is_told_from_a_silent_unit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system goes on acknowledging for a stopped process, so the connection looks open: only asking shows it."""
    monkeypatch.setattr(rfc2217, "BEAT_S", 0.2)
    monkeypatch.setattr(rfc2217, "BEAT_ANSWER_S", 0.5)
    async with served(tmp_path, answer_s=1) as (driver, server, process):
        await driver.identify()
        process.popen.send_signal(signal.SIGSTOP)
        with anyio.fail_after(15), pytest.raises(LinkSilent):
            await driver.identify()
        server.freeze()
        with anyio.fail_after(10), pytest.raises(LinkGone, match="does not answer any more, although the connection"):
            await driver.identify()


@pytest.mark.parametrize("scheme", ["rfc2217", "socket"])
async def test_a_unit_whose_port_vanishes_behind_the_server(tmp_path: Path, scheme: str) -> None:
    """The server may end the connection or keep it: both are noticed within two answers' time."""
    async with served(tmp_path, scheme, answer_s=1) as (driver, _, process):
        await driver.identify()
        process.popen.kill()
        with anyio.fail_after(8), pytest.raises((LinkGone, LinkSilent)):
            await driver.identify()


async def test_the_server_sets_its_port(tmp_path: Path) -> None:
    """By what the system says of the port behind it."""
    async with pty_end() as far:
        with ser2net(far.path, tmp_path) as server:
            link = await open_link(server.where)
            await link.set_baud(9600)
            assert await far.rate() == 9600
            await link.set_baud(57600)
            assert await far.rate() == 57600
            await link.aclose()


async def test_a_server_that_serves_somebody_else_says_so(tmp_path: Path) -> None:
    """And one that lets the newest client in, ends the older connection."""
    async with pty_end() as far:
        with ser2net(far.path, tmp_path, newest_wins=False) as server:
            first = await open_link(server.where)
            with pytest.raises(LinkBusy, match="ended the connection at once: another program may have its port"):
                await open_link(server.where)
            await first.aclose()
        with ser2net(far.path, tmp_path) as server:
            first = await open_link(server.where)
            second = await open_link(server.where)
            with anyio.fail_after(5), pytest.raises(LinkGone):
                await first.receive()
            await first.aclose()
            await second.aclose()


async def test_a_raw_server_is_no_rfc2217_server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rfc2217, "AGREE_S", 0.5)
    async with pty_end() as far:
        with ser2net(far.path, tmp_path, "socket") as server, pytest.raises(LinkNotFound, match="does not speak RFC"):
            await open_link(server.where.replace("socket", "rfc2217"))
