"""Our XMODEM sender and receiver with lrzsz's ``rx`` and ``sx``, strangers to our code, over a pseudo-terminal."""

from __future__ import annotations

from pathlib import Path
from random import Random

import anyio
import anyio.to_thread
import pytest

from benchday.devices.links import open_link
from benchday.devices.transfer import drive
from benchday.devices.xmodem import Ending, Limits, Sender
from benchday.devices.xmodem_receiver import Receiver
from tests.peers.lrzsz import LIMIT_S, peer

pytestmark = pytest.mark.peer


@pytest.mark.asyncio
@pytest.mark.parametrize("size", [1, 128, 1024, 100_055])
@pytest.mark.parametrize("flags", [("-c",), ()], ids=["crc", "sum"])
async def test_rx_takes_what_we_send(flags: tuple[str, ...], size: int, tmp_path: Path) -> None:
    """The content arrives. rx often throws its last acknowledgement away as it ends: then the outcome is unknown."""
    data, taken = Random(size).randbytes(size), tmp_path / "taken"
    with peer("rx", *flags, str(taken)) as (path, running), anyio.fail_after(LIMIT_S):
        link = await open_link(path)
        sender = Sender(data, Limits(ends=1))
        done = [n async for n in drive(link, sender)]
        await link.aclose()
        assert await anyio.to_thread.run_sync(running.wait) == 0

    assert sender.ending in (Ending.WHOLE, Ending.UNKNOWN)
    assert done[-1] == size
    assert taken.read_bytes()[:size] == data
    assert set(taken.read_bytes()[size:]) <= {0x1A}


@pytest.mark.asyncio
@pytest.mark.parametrize("flags", [("-k",), ()], ids=["1k", "128"])
async def test_we_take_what_sx_sends(flags: tuple[str, ...], tmp_path: Path) -> None:
    """Content and length arrive, in blocks of 1024 and of 128."""
    data = Random(5).randbytes(70_001)
    (tmp_path / "given").write_bytes(data)
    got = bytearray()

    async def sink(piece: bytes) -> None:
        got.extend(piece)

    with peer("sx", *flags, str(tmp_path / "given")) as (path, running), anyio.fail_after(LIMIT_S):
        link = await open_link(path)
        receiver = Receiver(len(data))
        async for _ in drive(link, receiver, sink=sink):
            pass
        assert await anyio.to_thread.run_sync(running.wait) == 0
        await link.aclose()

    assert receiver.ending is Ending.WHOLE
    assert bytes(got) == data


@pytest.mark.asyncio
async def test_rx_is_told_to_stop(tmp_path: Path) -> None:
    """CAN CAN from us ends rx at once."""
    with peer("rx", "-c", str(tmp_path / "taken")) as (path, running), anyio.fail_after(LIMIT_S):
        link = await open_link(path)
        assert await link.receive() == b"C"
        await link.send(b"\x18" * 5)
        assert await anyio.to_thread.run_sync(running.wait) != 0
        await link.aclose()
