"""Devices that never stop, never come on, or word an error as success: every wait of a driver has an end."""

from __future__ import annotations

import socket
from dataclasses import replace
from itertools import count

import anyio
import anyio.abc
import httpx
import pytest

from benchday.devices import xmodem_blocks as x
from benchday.devices.drivers.web import WebDriver
from benchday.devices.drivers.web_session import Address, WebSession
from benchday.devices.links import open_link
from benchday.devices.xmodem import Ending, Sender
from benchday.devices.xmodem_receiver import Receiver
from benchday.domain.errors import Garbled, OutcomeUnknown, TransferCut
from benchday.domain.permits import Verb
from benchday.domain.readings import Recording, Settings
from tests.devices.acts import spent, write_act
from tests.devices.test_console import said, scripted, simulated
from tests.devices.test_web import QUICK, STATUS, Answering, driven
from tests.devices.test_web import write as write_page

SECOND = 1_000_000


def ended_after(machine: Sender | Receiver, heard: bytes, every_us: int) -> int:
    """Feed a machine the same bytes until it ends; gives when, in microseconds."""
    now = 0
    while machine.ending is None:
        machine.turn(heard, now)
        now += every_us
        assert now < 3600 * SECOND, "it never ends"
    return now


def test_a_line_that_never_falls_quiet_ends_a_receiver() -> None:
    """Three minutes without a good block are all, whatever is heard meanwhile."""
    receiver = Receiver(5000)
    first = x.block(1, bytes(1024), crc=True)
    receiver.turn(first, 0)
    assert ended_after(receiver, b"noise", SECOND // 10) < 190 * SECOND
    assert receiver.ending is Ending.CUT


def test_a_block_that_comes_for_ever_ends_a_receiver() -> None:
    """It is acknowledged each time, and after three minutes of nothing else broken off."""
    receiver = Receiver(5000)
    block = x.block(1, bytes(1024), crc=True)
    acknowledged = sum(receiver.turn(block, now * SECOND).send == bytes((x.ACK,)) for now in range(200))
    assert 170 < acknowledged <= 181
    assert receiver.ending is Ending.CUT


def test_text_with_c_in_it_does_not_start_a_sender_anew() -> None:
    """The minute for the start is one minute, whatever comes meanwhile."""
    assert ended_after(Sender(b"image"), b"Can you hear me? ", SECOND // 10) <= 61 * SECOND


@pytest.mark.asyncio
async def test_input_that_never_stops_is_not_waited_for() -> None:
    """Throwing away what has come ends, although more comes."""
    listener = await anyio.create_tcp_listener(local_host="127.0.0.1", family=socket.AddressFamily.AF_INET)

    async def flood(stream: anyio.abc.SocketStream) -> None:
        async with stream:
            while True:
                await stream.send(bytes(1000))

    async with listener, anyio.create_task_group() as serving:
        serving.start_soon(listener.serve, flood)
        port = listener.extra(anyio.abc.SocketAttribute.local_port)  # noqa: S610  # no database in sight
        link = await open_link(f"socket://127.0.0.1:{port}")
        with anyio.fail_after(5):
            await link.discard_input()
        await link.aclose()
        serving.cancel_scope.cancel()


@pytest.mark.asyncio
async def test_a_list_without_end_is_no_list() -> None:
    """A number that no unit can mean is not waited for."""
    async with scripted(lambda _: said("SETTING,1,999999999,role,base")) as driver:
        with pytest.raises(Garbled, match="more than 10000 cannot be right"):
            await driver.settings()


@pytest.mark.asyncio
async def test_one_digest_for_two_lengths_is_no_answer() -> None:
    """An answer to SUM that came twice is not taken for the next recording's."""

    def reply(request: str) -> bytes:
        listed = said("RECORDING,1,2,a,10", "RECORDING,2,2,b,20")
        return listed if request == "ASK,RECORDINGS" else said(f"SUM,{'ab' * 32}")

    async with scripted(reply) as driver:
        with pytest.raises(Garbled, match="an answer came twice"):
            await driver.recordings()


@pytest.mark.asyncio
async def test_settings_of_transfers_reach_them(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A unit that has gone silent in a transfer is given up after the set time."""
    silent = {"when": "send", "percent": 20, "what": "silent", "seconds": 60}
    folder = tmp_path_factory.mktemp("unit")
    async with simulated(folder, silent, transfer_block_s=0.05, transfer_ask_s=0.5, transfer_quiet_s=0.05) as (
        driver,
        _,
    ):
        (first, *_) = await driver.recordings()

        async def sink(piece: bytes) -> None: ...

        with anyio.fail_after(20), pytest.raises(TransferCut):
            _ = [done async for done in driver.fetch(first, sink)]


@pytest.mark.asyncio
async def test_only_the_right_status_says_that_something_was_done() -> None:
    """A page that words an error as 200 has changed nothing."""
    wanted = Settings({"role": "base"})
    async with driven(lambda _: httpx.Response(200, text="Error 17")) as driver:
        with pytest.raises(Garbled, match="answered PUT /settings/role with 200 instead of 204"):
            await driver.put_settings(spent("7", Verb.PUT_SETTINGS, wanted.digest, 8), wanted)
        act = write_act("7", b"image")
        act.use(Verb.WRITE_IMAGE, act.act.digest)
        with pytest.raises(Garbled, match="answered POST /restart with 200 instead of 202"):
            await driver.restart(act)


@pytest.mark.asyncio
async def test_a_flash_that_stands_still_is_unknown() -> None:
    """The unit answers well, and comes no step forward."""

    def answer(request: httpx.Request) -> httpx.Response:
        if request.url.path == "/status":
            return httpx.Response(200, json=STATUS)
        if request.method == "POST":
            return httpx.Response(202, json={"taken": 1})
        return httpx.Response(200, json={"state": "flashing", "percent": 40})

    async with driven(answer) as driver:
        with anyio.fail_after(20), pytest.raises(OutcomeUnknown, match="stands at 40 %"):
            await write_page(driver, b"image", "7")


@pytest.mark.asyncio
async def test_a_copy_that_drips_is_given_up() -> None:
    """It must come at a rate that can end."""
    seconds = count(0, SECOND)
    slow = replace(QUICK, fetch_bytes_per_s=1000)

    def answer(_: httpx.Request) -> httpx.Response:
        return httpx.Response(200, content=bytes(3))

    session = WebSession(lambda: Address("http://192.0.2.1"), slow, Answering(answer))
    driver = WebDriver(session, limits=slow, clock=lambda: next(seconds))

    async def sink(piece: bytes) -> None: ...

    with pytest.raises(TransferCut, match="too slow to go on"):
        _ = [done async for done in driver.fetch(Recording("a", 500, "ab" * 32), sink)]
    await session.aclose()
