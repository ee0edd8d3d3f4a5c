"""The unit's side of YMODEM, one file a batch: receive an image, send a recording (Forsberg 1988, chapters 5 and 6)."""

import asyncio
import time
from collections.abc import Awaitable, Callable
from contextlib import suppress

from .lines import LOST_AFTER_S, Line
from .xmodem import ABORT, C_EVERY_S, END_TRIES, FIRST_BLOCK_WITHIN_S, TRIES, TransferCut
from .xmodem import receive as receive_blocks
from .xmodem_blocks import ACK, CAN, CRC_MODE, EOT, NAK, PAD, Block, BlockReader, block

SIZE = 1024
HEAD_SIZE = 128
END_WITHIN_S = 5.0
"""for the empty head that ends the batch; a sender that leaves it out has sent its file all the same"""


async def receive(
    line: Line, accept: Callable[[bytes], Awaitable[None]], *, last_ack: Callable[[], bool] = lambda: True
) -> tuple[str, int]:
    """
    Receive one file; gives the name and the length that its head tells.

    `accept` is awaited with each block's data, padding included, before that block is acknowledged.
    `last_ack`: says, when it has come, whether the end of the batch is acknowledged.
    Raises TransferCut; whatever `accept` raises passes through with nothing acknowledged.
    """
    head = await _head(line, FIRST_BLOCK_WITHIN_S)
    if head is None or not head.strip(b"\0"):
        await line.write(ABORT)
        raise TransferCut("no file came")
    name, _, rest = head.partition(b"\0")
    length = rest.partition(b"\0")[0].split(b" ")[0]
    await line.write(ACK)
    await receive_blocks(line, accept)
    await line.write(ACK)
    if await _head(line, END_WITHIN_S) is not None and last_ack():
        await line.write(ACK)
    return name.decode("ascii", "replace"), int(length) if length.isdigit() else 0


async def _head(line: Line, within: float) -> bytes | None:
    """Ask for a block 0 until it comes; gives its content, None when none does."""
    reader, given_up = BlockReader(), time.monotonic() + within
    await line.write(CRC_MODE)
    while time.monotonic() < given_up:
        item = reader.take()
        if isinstance(item, Block):
            if item.number == 0:
                line.unread(reader.clear())
                return item.data
        elif item is not None and item.what == "cancel":
            raise TransferCut("the sender broke it off")
        elif item is not None and item.what == "end":
            await line.write(ACK)  # our answer to its end was lost
        elif item is None:
            data = await line.read(C_EVERY_S)
            reader.feed(data)
            if not data:
                reader.clear()
                await line.write(CRC_MODE)
    return None


async def send(line: Line, name: str, length: int, data: bytes, moment: Callable[[float], Awaitable[None]]) -> None:
    """
    Send one file once the receiver asks; `moment` is awaited with the percentage sent.

    `data` shorter than `length` is what could be read of it: then the transfer is broken off.
    Raises TransferCut.
    """
    replies = _Replies(line)
    await replies.asked()
    await replies.acknowledged(block(0, f"{name}\0{length}".encode("ascii").ljust(HEAD_SIZE, b"\0")))
    await replies.asked()
    for number, begin in enumerate(range(0, len(data), SIZE), 1):
        await moment(100 * begin / len(data))
        piece = data[begin : begin + SIZE]
        await replies.acknowledged(block(number, piece.ljust(SIZE if len(piece) > HEAD_SIZE else HEAD_SIZE, PAD)))
    if len(data) < length:
        raise TransferCut("the rest cannot be read")
    await replies.acknowledged(EOT, END_TRIES)
    with suppress(TransferCut):  # a receiver that leaves after its file has it whole
        await replies.asked(END_WITHIN_S)
        await replies.acknowledged(block(0, bytes(HEAD_SIZE)), 1)


class _Replies:
    """What a receiver says, byte by byte."""

    def __init__(self, line: Line) -> None:
        self._line = line
        self._cancel = False

    async def asked(self, within: float = FIRST_BLOCK_WITHIN_S) -> None:
        """Wait for C."""
        if await self._first_of(CRC_MODE, within) != CRC_MODE:
            raise TransferCut("no receiver")
        # Receivers are known to throw away their input just after they have asked.
        await asyncio.sleep(0.05)

    async def acknowledged(self, framed: bytes, tries: int = TRIES) -> None:
        """Send until it is acknowledged."""
        for _ in range(tries):
            await self._line.write(framed)
            if await self._first_of(ACK + NAK, LOST_AFTER_S if tries == TRIES else 3.0) == ACK:
                return
        raise TransferCut("not acknowledged")

    async def _first_of(self, wanted: bytes, within: float) -> bytes:
        given_up = time.monotonic() + within
        while (left := given_up - time.monotonic()) > 0:
            data = await self._line.read(left)
            for at in range(len(data)):
                one = data[at : at + 1]
                if one == CAN and self._cancel:
                    raise TransferCut("the receiver broke it off")
                self._cancel = one == CAN
                if one in wanted:
                    self._line.unread(data[at + 1 :])
                    return one
        return b""
