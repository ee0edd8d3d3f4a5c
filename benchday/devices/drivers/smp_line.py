"""Questions and answers of SMP over a serial line or datagrams, each under a time limit. Needs the extra ``smp``.

A request that nobody answers is sent again as it was, number included, so that a late answer still counts; what carries
another number is late or twice, and is left aside.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Protocol, TypeVar

import anyio
from smp.header import OP, Header
from smp.message import Request, Response

from benchday.devices.drivers.smp_frames import FrameReader, framed
from benchday.devices.drivers.smp_settings import SmpLimits
from benchday.devices.drivers.smp_words import header_of, reply_of
from benchday.devices.links.udp import MOST_BYTES, UdpLink
from benchday.domain.errors import LinkSilent
from benchday.domain.seams import Link

R = TypeVar("R", bound=Response)

USUAL_BYTES = 384
"""Largest message while the unit has not said how large one may be (common practice, no source)."""
_SERIAL_EXTRA = 4
"""A serial line's length and CRC stand in the unit's buffer too (from memory of the RTOS's own serial part)."""


class Carrier(Protocol):
    """What carries whole messages."""

    most_bytes: int
    """Largest message that it carries."""
    extra_bytes: int
    """What it needs of the unit's buffer beside the message."""

    async def send(self, message: bytes) -> None: ...

    async def receive(self) -> list[bytes]: ...

    async def aclose(self) -> None: ...


class LineCarrier:
    """A serial line, or a device server's."""

    most_bytes, extra_bytes = 8192, _SERIAL_EXTRA

    def __init__(self, link: Link) -> None:
        self._link, self._reader = link, FrameReader()
        self.aclose = link.aclose

    async def send(self, message: bytes) -> None:
        await self._link.send(framed(message))

    async def receive(self) -> list[bytes]:
        return self._reader.feed(await self._link.receive())


class DatagramCarrier:
    """One message is one datagram."""

    most_bytes, extra_bytes = MOST_BYTES, 0

    def __init__(self, link: UdpLink) -> None:
        self._link = link
        self.send, self.aclose = link.send, link.aclose

    async def receive(self) -> list[bytes]:
        return [await self._link.receive()]


class SmpLine:
    """One conversation; one question at a time."""

    def __init__(self, carrier: Carrier, reopen: Callable[[], Awaitable[Carrier]], limits: SmpLimits) -> None:
        self._carrier, self._reopen = carrier, reopen
        self.limits = limits
        self.most_bytes = min(USUAL_BYTES, limits.message_bytes, carrier.most_bytes)
        """Largest message that may be sent to this unit."""
        self.sent_times = 0
        """How often the last request was sent."""
        self._number = 0

    async def aclose(self) -> None:
        """Let go of the line."""
        await self._carrier.aclose()

    async def open_again(self) -> None:
        """Close and open the line, by its stable name.

        Raises:
            LinkError: it is not there.
        """
        await self._carrier.aclose()
        self._carrier = await self._reopen()

    def number(self) -> int:
        """Return the number for the next request, 0 to 255 and round again."""
        self._number = (self._number + 1) % 256
        return self._number

    def may_take(self, buffer_bytes: int) -> None:
        """Heed the size of the unit's buffer; less than 128 bytes would hold no first piece of an image."""
        room = max(buffer_bytes - self._carrier.extra_bytes, 128)
        self.most_bytes = min(room, self.limits.message_bytes, self._carrier.most_bytes)

    async def ask(
        self, request: Request, kind: type[R], what: str, *, limit_s: float | None = None, tries: int | None = None
    ) -> R:
        """Ask until an answer comes, a few times at most.

        Raises:
            LinkSilent: none came.
            Garbled: it cannot be read.
            Refused: the unit says no.
            LinkGone
        """
        limit_s, tries = limit_s or self.limits.answer_s, tries or self.limits.tries
        for self.sent_times in range(1, tries + 1):  # whoever asks wants to know how often
            await self._carrier.send(bytes(request))
            with anyio.move_on_after(limit_s):
                return reply_of(await self._answer_to(request.header), kind, what)
        raise LinkSilent(
            f"no answer to {what} in {limit_s:g} s, {tries} times" if tries > 1 else f"no answer to {what}"
        )

    async def _answer_to(self, asked: Header) -> bytes:
        answering = OP.READ_RSP if asked.op is OP.READ else OP.WRITE_RSP
        wanted = (answering, asked.group_id, asked.command_id, asked.sequence)
        while True:
            for message in await self._carrier.receive():
                header = header_of(message)
                if header and (header.op, header.group_id, header.command_id, header.sequence) == wanted:
                    return message
