"""Lines of text on a link as a playbook declares it: said, heard, and bounded whatever comes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TypeVar

from benchday.devices import nmea
from benchday.devices.late import heard_until
from benchday.devices.transfer import Monotonic
from benchday.domain.dialogue_parts import Ends, Framing, Line
from benchday.domain.errors import Garbled, InputError, LinkSilent
from benchday.domain.seams import Link

LONGEST_LINE = 1024
"""A line that grows beyond this is thrown away to its end."""
MOST_SKIPPED = 200
"""So many lines that nobody asked for may come before one that was."""
MOST_BYTES = 65_536
"""And so many bytes."""

_SIGNS = b"\x06\x15\x18"
"""ACK, NAK and CAN of a transfer."""
_ENDS = {Ends.CR: "\r", Ends.LF: "\n", Ends.CR_LF: "\r\n"}
_T = TypeVar("_T")


class DialogueLine:
    """One conversation over one open link; one question at a time."""

    def __init__(self, link: Link, line: Line, clock: Monotonic) -> None:
        self.link = link
        self._line, self.clock = line, clock
        self._buffer = bytearray()
        self._overlong = False
        self._echo = ""
        self._last = ""
        """The last line that came and was not what was waited for, to tell of."""
        self._damaged = False
        self._carried = False

    async def say(self, text: str, values: tuple[str, ...] = ()) -> None:
        """Send one line, throwing away what came before it.

        Args:
            text: with the values in their places.
            values: what was put in, which must not break the frame.

        Raises:
            InputError: it cannot be said; nothing was.
        """
        data = self._framed(text, values)
        await self.link.discard_input()
        self.forget()
        self._echo = text if self._line.echo else ""
        await self.link.send(data)

    def _framed(self, text: str, values: tuple[str, ...]) -> bytes:
        if self._line.framing is Framing.PLAIN:
            return f"{text}{_ENDS[self._line.ends]}".encode("ascii")
        for value in values:
            if set(value) & set("$*,"):
                raise InputError(f"{value!r} cannot be sent in a sentence: no $ * and comma")
        return nmea.encode(*text.split(","))

    def forget(self) -> None:
        """Forget what has come and was not asked for."""
        self._buffer.clear()
        self._overlong = self._damaged = self._carried = False
        self._last = ""

    def give_back(self, data: bytes) -> None:
        """Take bytes that a transfer read off the link; before a line may stand a sign that was meant for it."""
        self._carried = True
        self._buffer += data

    def hand_over(self) -> bytes:
        """Give away what has come after the last line that was asked for."""
        data = bytes(self._buffer)
        self._buffer.clear()
        return data

    async def next(self, wanted: Callable[[str], _T | None], limit_s: float, what: str) -> _T:
        """Return what the next line that is wanted means; others are skipped, up to a bound.

        Args:
            wanted: gives None for a line that is not.
            limit_s: real seconds.
            what: what is waited for, to tell of.

        Raises:
            LinkSilent: nothing came in time.
            Garbled: something came, but nothing that was waited for; or too much of it.
            LinkGone
        """
        until_us = self.clock() + round(limit_s * 1e6)
        skipped = taken = 0
        while True:
            for line in self._lines():
                meaning = wanted(line)
                if meaning is None and self._carried:
                    meaning = wanted(line.lstrip("C"))  # a receiver asks by C (Forsberg 1988)
                if meaning is not None:
                    return meaning
                self._last = line
                skipped += 1
            if skipped > MOST_SKIPPED or taken > MOST_BYTES:
                raise Garbled(f"so much comes that nobody asked for that {what} was not found in it; {self._told()}")
            data = await heard_until(self.link, until_us, self.clock)
            if not data:
                raise self._nothing(limit_s, what)
            taken += len(data)
            self._buffer += data

    def _lines(self) -> Iterator[str]:
        """Take line after line off the buffer; whoever stops leaves the rest as it came."""
        while True:
            end = min((at for at in (self._buffer.find(b"\r"), self._buffer.find(b"\n")) if at >= 0), default=-1)
            if end < 0:
                if len(self._buffer) > LONGEST_LINE:
                    self._buffer.clear()
                    self._overlong = self._damaged = True
                return
            raw = bytes(self._buffer[:end])
            del self._buffer[: end + 1]
            text = self._read(raw)
            if text:
                yield text

    def _read(self, raw: bytes) -> str:
        """Return the text of a line; empty if it is none, or the unit's echo."""
        if self._overlong or len(raw) > LONGEST_LINE:
            self._overlong, self._damaged = False, True
            return ""
        if self._line.framing is Framing.NMEA:
            scanned = nmea.scan(raw + b"\n")
            self._damaged |= bool(scanned.damaged)
            return ",".join(scanned.sentences[0].fields) if scanned.sentences else ""
        text = raw.lstrip(_SIGNS if self._carried else b"").decode("ascii", "replace").strip()
        while self._line.prompt and text.startswith(self._line.prompt):
            text = text.removeprefix(self._line.prompt).strip()
        if not text.isprintable() or not text.isascii():
            self._damaged, self._last = True, ascii(raw[:80].decode("latin-1"))
            return ""
        if self._echo and text == self._echo.strip():
            self._echo = ""
            return ""
        return text

    def _told(self) -> str:
        if self._last:
            return f"last came {self._last[:80]!r}"
        return "what came cannot be read" if self._damaged else "nothing else came"

    def _nothing(self, limit_s: float, what: str) -> LinkSilent | Garbled:
        if self._last or self._damaged:
            return Garbled(f"expected {what}; {self._told()}: are rate, parity and cable right?")

        return LinkSilent(
            f"no answer in {limit_s:g} s, expected {what}: is the cable of the right type? seated? is the unit on?"
        )
