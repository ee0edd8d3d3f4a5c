"""Both machines over a line in memory that spoils what passes."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import anyio
import pytest

from benchday.devices import xmodem_blocks as x
from benchday.devices.file_head import END_OF_BATCH, FileHead, build_head
from benchday.devices.links.memory import Faults, MemoryLink, memory_pair
from benchday.devices.transfer import drive
from benchday.devices.xmodem import Ending, Limits, Sender
from benchday.devices.xmodem_receiver import Receiver, ReceiverLimits
from benchday.devices.ymodem import BatchReceiver
from benchday.domain.errors import LinkGone

SOON = Limits(answer_us=1_500_000, quiet_us=100_000, end_us=500_000, after_start_us=5_000)
SOON_BACK = ReceiverLimits(start_us=100_000, block_us=200_000, inside_us=30_000)


async def transferred(data: bytes, there: Faults, back: Faults) -> tuple[Sender, Receiver, bytes]:
    """Send data over a spoilt line."""
    near, far = memory_pair(there, back)
    sender, receiver, got = Sender(data, SOON), Receiver(len(data), SOON_BACK), bytearray()

    async def sink(piece: bytes) -> None:
        got.extend(piece)

    async def send() -> None:
        async for _ in drive(near, sender):
            pass

    with anyio.fail_after(20):
        async with anyio.create_task_group() as both:
            both.start_soon(send)
            async for _ in drive(far, receiver, sink=sink):
                pass

    return sender, receiver, bytes(got)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("there", "back"),
    [
        (Faults(), Faults()),
        (Faults(split=7), Faults(split=1)),
        (Faults(garble=frozenset({1500})), Faults()),
        (Faults(drop=frozenset({700, 2000})), Faults()),
        (Faults(), Faults(drop=frozenset({2}))),
        (Faults(), Faults(garble=frozenset({1, 3}))),
    ],
    ids=["clean", "split", "garbled block", "lost bytes", "lost answer", "garbled answers"],
)
async def test_what_arrives_is_what_was_sent(there: Faults, back: Faults) -> None:
    """Split, garbled and lost bytes are made good."""
    data = Random(2).randbytes(5000)
    sender, receiver, got = await transferred(data, there, back)
    assert (sender.ending, receiver.ending) == (Ending.WHOLE, Ending.WHOLE)
    assert got == data


@pytest.mark.asyncio
async def test_a_lost_last_answer_is_unknown() -> None:
    """Everything arrived, and the sender says that it cannot know."""
    data = bytes(1024)
    sender, receiver, got = await transferred(data, Faults(), Faults(drop=frozenset({2})))
    assert (sender.ending, receiver.ending, got) == (Ending.UNKNOWN, Ending.WHOLE, data)


@pytest.mark.asyncio
async def test_a_line_that_vanishes_is_told() -> None:
    """Whoever drives the machine gets LinkGone and can ask it how far it was."""
    near, far = memory_pair(Faults(cut_after=1500))
    await far.send(b"C")
    sender = Sender(bytes(5000), replace(SOON, answer_us=1))
    with pytest.raises(LinkGone):
        async for _ in drive(near, sender):
            pass
    assert sender.ending is None


class Inbox:
    """Notes in which order it is called, and what had been said by then."""

    def __init__(self, far: MemoryLink) -> None:
        self.calls: list[str] = []
        self._far = far

    async def begin(self, head: FileHead) -> None:
        self.calls.append(f"begin {head.name} {head.length}")

    async def take(self, piece: bytes) -> None:
        self.calls.append(f"take {len(piece)}")

    async def end(self) -> None:
        self.calls.append("end")
        with anyio.move_on_after(0.05) as waiting:
            await self._far.receive()
        assert waiting.cancelled_caught, "the other side was told before the file was kept"


@pytest.mark.asyncio
async def test_a_batch_goes_into_an_inbox() -> None:
    """Heads, pieces and ends in order; the end is kept before it is acknowledged."""
    near, far = memory_pair()
    receiver, inbox = BatchReceiver(), Inbox(far)
    said = [
        x.block(0, build_head(FileHead("a", 1030)), crc=True),
        *[x.block(n, b, crc=True) for n, b in enumerate(x.cut_into_blocks(bytes(1030), large=True), 1)],
        b"\x04",
        x.block(0, build_head(FileHead("b", 0)), crc=True),
        b"\x04",
        x.block(0, END_OF_BATCH, crc=True),
    ]

    async def send() -> None:
        for message in said:
            await far.receive()  # C, or the answer to the message before
            await far.send(message)

    with anyio.fail_after(20):
        async with anyio.create_task_group() as both:
            both.start_soon(send)
            async for _ in drive(near, receiver, inbox=inbox):
                pass
    assert inbox.calls == ["begin a 1030", "take 1024", "take 6", "end", "begin b 0", "end"]
    assert receiver.ending is Ending.WHOLE
