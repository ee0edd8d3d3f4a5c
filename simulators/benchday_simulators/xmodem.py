"""The unit's side of XMODEM-1K: receive an image, send a recording (Forsberg 1988; limits are real seconds)."""

import asyncio
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from .lines import LOST_AFTER_S, Line
from .xmodem_blocks import ACK, CAN, CRC_MODE, EOT, NAK, PAD, Block, BlockReader, block

FIRST_BLOCK_WITHIN_S = 60.0
C_EVERY_S = 1.0
QUIET_IN_BLOCK_S = 1.0
TRIES = 10
END_TRIES = 4
SIZE = 1024
PAUSE_S = 0.002
SPEAKS = b"$"
"""the host speaks the dialogue again"""
ABORT = CAN + CAN


class TransferCut(Exception):
    """The transfer ended before its end; the words say why."""


@dataclass
class _Progress:
    expected: int = 1
    """number of the next block, counted without wrapping"""
    last_good: float = 0.0

    def cut_after(self) -> float:
        return FIRST_BLOCK_WITHIN_S if self.expected == 1 else LOST_AFTER_S


async def receive(line: Line, accept: Callable[[bytes], Awaitable[None]]) -> None:
    """
    Receive until the sender's EOT, which is left to the caller to acknowledge.

    `accept` is awaited with each new block's data before that block is acknowledged. Blocks of 128 and of
    1024 bytes may be mixed.
    Raises TransferCut; whatever `accept` raises passes through with nothing acknowledged.
    """
    reader = BlockReader()
    progress = _Progress(last_good=time.monotonic())
    await line.write(CRC_MODE)
    while True:
        item = reader.take()
        if item is None:
            data = await line.read(C_EVERY_S if progress.expected == 1 else QUIET_IN_BLOCK_S)
            reader.feed(data)
            if not data:
                await _silence(line, reader, progress)
        elif isinstance(item, Block):
            await _take_block(line, item, progress, accept)
        elif item.what == "broken":
            await _ask_again(line, reader)
        elif item.what == "end":
            if progress.expected > 1:
                line.unread(reader.clear())
                return
        else:
            line.unread(reader.clear())
            raise TransferCut("the sender broke it off")
        if time.monotonic() - progress.last_good > progress.cut_after():
            await line.write(ABORT)
            raise TransferCut("no block came for too long")


async def _silence(line: Line, reader: BlockReader, progress: _Progress) -> None:
    if reader.pending():
        reader.clear()
        await line.write(NAK)
    elif progress.expected == 1:
        await line.write(CRC_MODE)


async def _ask_again(line: Line, reader: BlockReader) -> None:
    """Let the rest of a broken block pass, then ask for it again."""
    while await line.read(0.02):
        pass
    reader.clear()
    await line.write(NAK)


async def _take_block(line: Line, item: Block, progress: _Progress, accept: Callable[[bytes], Awaitable[None]]) -> None:
    if item.number == progress.expected & 0xFF:
        await accept(item.data)
        progress.expected += 1
    elif item.number != (progress.expected - 1) & 0xFF:
        await line.write(ABORT)
        raise TransferCut("a block is missing")
    # A block that came twice is acknowledged again: its first acknowledgement was lost.
    progress.last_good = time.monotonic()
    await line.write(ACK)


async def send_blocks(line: Line, data: bytes, moment: Callable[[float], Awaitable[None]]) -> None:
    """Send data once the receiver asks for CRC; `moment` is awaited with the percentage sent. Raises TransferCut."""
    await _wait_for_receiver(line)
    pause_s = 0.0
    for number, begin in enumerate(range(0, len(data), SIZE), 1):
        await moment(100 * begin / len(data))
        pause_s = await _send_block(line, block(number, data[begin : begin + SIZE].ljust(SIZE, PAD)), pause_s)


async def send_end(line: Line) -> None:
    """Say that all has been sent; raises TransferCut when nobody acknowledges it."""
    for _ in range(END_TRIES):
        await line.write(EOT)
        # A receiver may refuse the first EOT, and wait for a second of silence before it acknowledges.
        if await _reply(line, 3.0) in {ACK, SPEAKS}:
            return
    raise TransferCut("the end was not acknowledged")


async def _wait_for_receiver(line: Line) -> None:
    given_up = time.monotonic() + FIRST_BLOCK_WITHIN_S
    while (left := given_up - time.monotonic()) > 0:
        data = await line.read(left)
        if b"$" in data:  # the host speaks the dialogue again
            line.unread(data[data.index(b"$") :])
            raise TransferCut("the receiver changed its mind")
        if CAN * 2 in data:
            raise TransferCut("the receiver broke it off")
        if CRC_MODE in data:
            # Receivers are known to throw away their input just after they have asked.
            await asyncio.sleep(0.05)
            return
    await line.write(ABORT)
    raise TransferCut("no receiver")


async def _send_block(line: Line, framed: bytes, pause_s: float) -> float:
    """Send until it is acknowledged; gives the pause that this receiver needs before each block."""
    for _ in range(TRIES):
        if pause_s:
            await asyncio.sleep(pause_s)
        await line.write(framed)
        reply = await _reply(line, LOST_AFTER_S)
        if reply == ACK:
            return pause_s
        if reply == SPEAKS:
            raise TransferCut("the receiver changed its mind")
        # Receivers are known to throw away their input just after they have acknowledged.
        pause_s = PAUSE_S
    await line.write(ABORT)
    raise TransferCut("a block was not acknowledged")


async def _reply(line: Line, within: float) -> bytes:
    """Give ACK, NAK (silence counts as one) or SPEAKS, whose words are put back; raises TransferCut on two CAN."""
    given_up = time.monotonic() + within
    while (left := given_up - time.monotonic()) > 0:
        data = await line.read(left)
        if CAN * 2 in data:
            raise TransferCut("the receiver broke it off")
        if SPEAKS in data:
            line.unread(data[data.index(SPEAKS) :])
        for sign in (ACK, NAK, SPEAKS):
            if sign in data:
                return sign
    return NAK
