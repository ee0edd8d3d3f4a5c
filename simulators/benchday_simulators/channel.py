"""The dialogue's end of a line, whatever carries it: at the line's rate, or as fast as it goes."""

import asyncio
import time

from .lines import BITS, LOST_AFTER_S, Carrier, Pace
from .speech import Speech

PIECE = 256
"""bytes sent at once at the line's rate: 22 ms, about what a USB adapter gathers"""
LOOK_EVERY_S = 0.01
FULL_FOR_S = 1.0
"""what nobody has taken after this many real seconds is lost"""


class Channel:
    """Pass bytes between a carrier and the dialogue."""

    def __init__(self, carrier: Carrier, *, paced: bool, baud: int = 115_200, speech: Speech | None = None) -> None:
        self.lost = asyncio.Event()
        """set while the line has been away for too long"""
        self._carrier = carrier
        self._inbox = bytearray()
        self._waiter: asyncio.Future[None] | None = None
        self._sending = asyncio.Lock()
        self._in = Pace(baud / BITS) if paced else None
        self._out = Pace(baud / BITS) if paced else None
        self._credit_s = 0.0
        self._speech = speech or Speech()
        self._rate = baud / BITS
        self._slowed = 1.0
        self._slow_in = self._slow_out = Pace(self._rate)
        self._deaf = False
        self._away: asyncio.TimerHandle | None = None

    async def attach(self) -> dict[str, str]:
        """Let the port appear; gives where."""
        if self._away is not None:
            self._away.cancel()
            self._away = None
        self.lost.clear()
        return await self._carrier.attach(self)

    def detach(self) -> None:
        """Let the port vanish."""
        self._carrier.detach()
        if self._away is None:
            self._away = asyncio.get_running_loop().call_later(LOST_AFTER_S, self.lost.set)

    def due(self, count: int) -> float | None:
        """Say when (monotonic) bytes that begin to come now have come, None: at once."""
        pace, _ = self._paces()
        return None if pace is None else pace.passed(count, time.monotonic(), self._use_credit())

    def _paces(self) -> tuple[Pace | None, Pace | None]:
        """Give the paces in and out: those of the line, or those of a slow unit."""
        factor = self._speech.slowness()
        if factor == 1:
            return self._in, self._out
        if factor != self._slowed:
            self._slowed = factor
            self._slow_in, self._slow_out = Pace(self._rate / factor), Pace(self._rate / factor)
        return self._slow_in, self._slow_out

    def arrived(self, data: bytes, due: float | None) -> None:
        """Take what has come."""
        if due is not None:
            self._credit_s = max(0.0, time.monotonic() - due)
        if not self._deaf and not self._speech.stuck:
            self._inbox += data
            self._wake()

    def _wake(self) -> None:
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)

    def _use_credit(self) -> float:
        credit, self._credit_s = self._credit_s, 0.0
        return credit

    async def read(self, within: float) -> bytes:
        """Give what has come, empty after `within` real seconds of nothing."""
        if not self._inbox:
            loop = asyncio.get_running_loop()
            self._waiter = loop.create_future()
            limit = loop.call_later(within, self._wake)
            try:
                await self._waiter
            finally:
                limit.cancel()
        data = bytes(self._inbox)
        self._inbox.clear()
        return data

    def unread(self, data: bytes) -> None:
        """Put bytes back, to be read again."""
        self._inbox[:0] = data

    async def write(self, data: bytes) -> None:
        """Send bytes; what nobody takes for a second is lost, as on any line without flow control."""
        async with self._sending:
            if self._speech.silent():
                return
            data = self._speech.shape(data)
            _, pace = self._paces()
            if pace is None:
                await self._push(data)
            else:
                await self._push_paced(data, pace)

    async def _push_paced(self, data: bytes, pace: Pace) -> None:
        for begin in range(0, len(data), PIECE):
            piece = data[begin : begin + PIECE]
            due = pace.passed(len(piece), time.monotonic(), self._use_credit())
            if (left := due - time.monotonic()) > 0:
                await asyncio.sleep(left)
            await self._push(piece)
            self._credit_s = max(0.0, time.monotonic() - due)

    async def _push(self, data: bytes) -> None:
        taken = self._carrier.push(data)
        given_up = time.monotonic() + FULL_FOR_S
        while taken < len(data) and time.monotonic() < given_up:
            await asyncio.sleep(0.005)
            taken += self._carrier.push(data[taken:])

    async def write_if_read(self, data: bytes, most: int) -> None:
        """Send what nobody has asked for, unless the host has left more than `most` bytes unread."""
        if self._carrier.backlog() <= most:
            await self.write(data)

    async def drained(self, within: float) -> None:
        """Wait until the host has read everything, for some real seconds at most."""
        for _ in range(int(within / LOOK_EVERY_S)):
            if not self._carrier.backlog():
                return
            await asyncio.sleep(LOOK_EVERY_S)

    def hear(self, *, on: bool) -> None:
        """Heed what comes, or throw it away (a unit that boots or is off)."""
        self._deaf = not on
        if self._deaf:
            self._inbox.clear()
