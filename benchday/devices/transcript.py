"""What was said and heard on a line, with times: seen by a link that stands before another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchday.devices.transfer import Monotonic, monotonic_us
from benchday.domain.seams import Link, ModemLines


@dataclass(frozen=True, slots=True)
class Noted:
    """A stretch of bytes, or a word on the line itself."""

    at_us: int
    """Since the transcript began."""
    who: str
    """said, heard or note."""
    data: bytes

    @property
    def text(self) -> str:
        """The bytes as text: control characters and all that is not printable ASCII by name or number in angles."""
        return "".join(map(_shown, self.data))


_NAMES = {0x0A: "<LF>", 0x0D: "<CR>", 0x1B: "<ESC>", 0x00: "<NUL>", 0x3C: "<3C>"}


def _shown(byte: int) -> str:
    return _NAMES.get(byte) or (chr(byte) if 0x20 <= byte < 0x7F else f"<{byte:02X}>")


class Transcript:
    """Hands on what is noted, and counts it."""

    def __init__(self, note: Callable[[Noted], None], clock: Monotonic = monotonic_us) -> None:
        """Begin.

        Args:
            note: gets each stretch as it comes.
            clock: monotonic microseconds.
        """
        self._note, self._clock = note, clock
        self._began_us = clock()

    def put(self, who: str, data: bytes) -> None:
        """Note a stretch, cut after each line."""
        at_us = self._clock() - self._began_us
        for piece in data.splitlines(keepends=True) or [data]:
            self._note(Noted(at_us, who, piece))

    def request(self, text: str) -> None:
        """Note a request to a page, or what it was answered with."""
        self.put("note", text.encode("ascii", "replace"))

    def watched(self, link: Link) -> Link:
        """Return the link with this between it and whoever uses it."""
        return WatchedLink(link, self)


class WatchedLink:
    """A link whose bytes are noted on their way."""

    def __init__(self, link: Link, transcript: Transcript) -> None:
        self._link, self._transcript = link, transcript

    async def receive(self, max_bytes: int = 65536) -> bytes:
        data = await self._link.receive(max_bytes)
        self._transcript.put("heard", data)
        return data

    async def send(self, item: bytes) -> None:
        self._transcript.put("said", item)
        await self._link.send(item)

    async def aclose(self) -> None:
        await self._link.aclose()

    async def set_baud(self, baud: int) -> None:
        await self._link.set_baud(baud)

    def modem_lines(self) -> ModemLines:
        return self._link.modem_lines()

    async def discard_input(self) -> None:
        await self._link.discard_input()

    def abort(self) -> None:
        self._link.abort()
