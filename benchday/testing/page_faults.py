"""What can go wrong with a unit's page: HTTP answers that are none, never end, come slowly or lead elsewhere."""

from __future__ import annotations

import re
from random import Random

import anyio
import anyio.lowlevel

from benchday.testing.faults import ByteByByte, Cut, Fault, OtherUnit, Silent, Wire

_LENGTH = re.compile(rb"\r\ncontent-length: *(\d+)", re.IGNORECASE)
_CHUNKED = re.compile(rb"\r\ntransfer-encoding: *chunked", re.IGNORECASE)
_LONGEST_HEAD = 1 << 16


class Message:
    """Follows the messages of one direction, as far as length and end go (RFC 9112, sections 2 and 6)."""

    def __init__(self) -> None:
        self._head = bytearray()
        self._tail = bytearray()
        self._body: int | None = None
        """Bytes of the body still to come; -1 where chunks say it; None within a head."""

    def body_in(self, piece: bytes) -> tuple[int, int]:
        """Take the next bytes; give where the body begins in them, and how many messages have ended."""
        begins = len(piece) if self._body is None else 0
        if self._body is None:
            known = len(self._head)
            self._head += piece[:_LONGEST_HEAD]
            end = self._head.find(b"\r\n\r\n") + 4
            if end < 4:
                return begins, 0
            begins = max(0, end - known)
            length = _LENGTH.search(self._head[:end])
            self._body = -1 if _CHUNKED.search(self._head[:end]) else int(length[1]) if length else 0
            self._head.clear()
        return begins, self._take(piece[begins:])

    def _take(self, body: bytes) -> int:
        if self._body == -1:
            self._tail = (self._tail + body)[-5:]
            ended = self._tail == b"0\r\n\r\n"
        else:
            self._body = max(0, (self._body or 0) - len(body))
            ended = self._body == 0
        if ended:
            self._body = None
            self._tail.clear()
        return int(ended)


class Answers(Fault):
    """Answers each request itself; the unit hears nothing."""

    def __init__(self) -> None:
        self._message = Message()

    async def up(self, piece: bytes, wire: Wire) -> None:
        _, ended = self._message.body_in(piece)
        if ended:
            await self.answer(wire)

    async def answer(self, wire: Wire) -> None:
        """Answer one request."""
        raise NotImplementedError


def _whole(status: str, body: bytes, *headers: str) -> bytes:
    head = [f"HTTP/1.1 {status}", f"Content-Length: {len(body)}", *headers]
    return "\r\n".join(head).encode() + b"\r\n\r\n" + body


class ErrorText(Answers):
    """200 with the text of an error."""

    name = "200 with an error text"

    async def answer(self, wire: Wire) -> None:
        await wire.to_driver(_whole("200 OK", b"<html><b>Error 17</b>: internal failure</html>"))


class SignedOut(Answers):
    """401 to everything, signing in as well."""

    name = "401 from now on"

    async def answer(self, wire: Wire) -> None:
        await wire.to_driver(_whole("401 Unauthorized", b'{"refused": "session"}'))


class Overloaded(Answers):
    """503 to everything."""

    name = "503"

    async def answer(self, wire: Wire) -> None:
        await wire.to_driver(_whole("503 Service Unavailable", b"busy", "Retry-After: 86400"))


class Elsewhere(Answers):
    """A redirect to another host, where somebody counts the visits."""

    name = "redirect to another host"
    address = "http://127.0.0.1:9/"
    """Set by the relay to where it counts."""

    async def answer(self, wire: Wire) -> None:
        await wire.to_driver(_whole("307 Temporary Redirect", b"", f"Location: {type(self).address}"))


class NoHttp(Answers):
    """An answer that is no HTTP."""

    name = "no HTTP"

    async def answer(self, wire: Wire) -> None:
        await wire.to_driver(Random(31).randbytes(300) + b"\r\n\r\n")  # noqa: S311  # repeatable, not secret


class EndlessBody(Answers):
    """200, and a body that never ends."""

    name = "endless body"
    endless = True
    head = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n\r\n["
    piece = b'"more",' * 4600

    async def answer(self, wire: Wire) -> None:
        await wire.to_driver(self.head)
        while True:
            await wire.to_driver(self.piece)
            await anyio.sleep(0.001)


class EndlessHead(EndlessBody):
    """A head that never ends."""

    name = "endless head"
    head = b"HTTP/1.1 200 OK\r\n"
    piece = b"X-More: and more of the same\r\n" * 1000


class Drip(Answers):
    """200, announced long, and a byte now and then."""

    name = "slow drip"

    async def answer(self, wire: Wire) -> None:
        await wire.to_driver(b"HTTP/1.1 200 OK\r\nContent-Length: 900000\r\n\r\n")
        while True:
            await wire.to_driver(b" ")
            await anyio.sleep(0.05)


class DripFromTheUnit(Fault):
    """The unit's own answer, a byte now and then."""

    name = "the unit's answer drips"

    async def down(self, piece: bytes, wire: Wire) -> None:
        for at in range(len(piece)):
            await wire.to_driver(piece[at : at + 1])
            await anyio.sleep(0.05)


class Scrambled(Fault):
    """The unit's own head, and other bytes for a body."""

    name = "garbled body"

    def __init__(self) -> None:
        self._message = Message()

    async def down(self, piece: bytes, wire: Wire) -> None:
        begins, _ = self._message.body_in(piece)
        await wire.to_driver(piece[:begins] + bytes(byte ^ 0x95 for byte in piece[begins:]))


class HalfBody(Scrambled):
    """The unit's own head and half of the body; then the connection ends."""

    name = "closes in an answer"

    async def down(self, piece: bytes, wire: Wire) -> None:
        begins, _ = self._message.body_in(piece)
        await wire.to_driver(piece[: begins + (len(piece) - begins) // 2])
        if begins < len(piece):
            await anyio.sleep(0.01)
            wire.cut()


class HangsUp(Fault):
    """Each connection ends once something is asked on it."""

    name = "closes when asked"

    async def up(self, piece: bytes, wire: Wire) -> None:
        del piece
        await anyio.lowlevel.checkpoint()
        wire.cut()


PAGE_FAULTS: tuple[Fault, ...] = (
    ByteByByte(),
    Silent(),
    ErrorText(),
    SignedOut(),
    Overloaded(),
    Elsewhere(),
    NoHttp(),
    EndlessBody(),
    EndlessHead(),
    Drip(),
    DripFromTheUnit(),
    Scrambled(),
    HalfBody(),
    HangsUp(),
    Cut(),
    OtherUnit(),
)
"""What befalls a page. A new fault is one more class and one more line here."""
