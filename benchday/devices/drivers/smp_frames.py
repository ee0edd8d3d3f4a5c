"""How a message of SMP stands on a serial line: lines of at most 127 bytes, Base64, CRC-16.

Source: Zephyr Project, "SMP Transport Specification", UART/serial and console; Base64 is RFC 4648, section 4; the CRC
is CRC-16/XMODEM (polynomial 1021, begins with 0, check value 31C3 for ``123456789``). A line may carry the unit's log
between frames: what is no frame is skipped.
"""

from __future__ import annotations

import base64
import binascii

FIRST, MORE, END = b"\x06\x09", b"\x04\x14", b"\n"
LINE_BYTES = 127
"""Markers and line feed included."""
_BODY = (LINE_BYTES - len(FIRST) - len(END)) // 4 * 4
LONGEST_LINE = 1024
"""Longer ones are no frames: the limit is 127, and some send longer lines than that (bytes)."""
LONGEST_MESSAGE = 16_384
"""More is never taken, whatever a frame announces (bytes)."""
_LENGTH, _CRC = 2, 2


def framed(message: bytes) -> bytes:
    """Put a message into lines."""
    crc = binascii.crc_hqx(message, 0).to_bytes(_CRC, "big")
    text = base64.b64encode((len(message) + _CRC).to_bytes(_LENGTH, "big") + message + crc)
    bodies = [text[begin : begin + _BODY] for begin in range(0, len(text), _BODY)]
    return b"".join((MORE if number else FIRST) + body + END for number, body in enumerate(bodies))


class FrameReader:
    """Takes bytes as they come off a line, gives the messages that are whole. Keeps less than 20 KB, whatever comes."""

    def __init__(self) -> None:
        self.broken = 0
        """How many frames came that could not be read."""
        self._line = bytearray()
        self._skipping = False
        self._message = bytearray()
        self._wanted = 0
        """Length of the message under way, its CRC included; 0 between messages."""

    def feed(self, data: bytes) -> list[bytes]:
        """Take what came; return what is whole now, in order."""
        whole = []
        for number, piece in enumerate(data.split(END)):
            if number:
                message = None if self._skipping else self._taken(bytes(self._line))
                self._line.clear()
                self._skipping = False
                whole += [message] if message is not None else []
            self._add(piece)
        return whole

    def _add(self, piece: bytes) -> None:
        if self._skipping or len(self._line) + len(piece) > LONGEST_LINE:
            self._line.clear()
            self._skipping = True
        else:
            self._line += piece

    def _taken(self, line: bytes) -> bytes | None:
        # A log may have been cut off by a frame, in the middle of its line: the last marker counts.
        first, more = line.rfind(FIRST), line.rfind(MORE)
        if max(first, more) < 0:
            return None
        try:
            body = base64.b64decode(line[max(first, more) + 2 :].rstrip(b"\r"), validate=True)
        except binascii.Error:
            self._drop()
            return None
        if first > more:
            return self._begin(body)
        return self._go_on(body) if self._wanted else None

    def _begin(self, body: bytes) -> bytes | None:
        self._drop(told=self._wanted > 0)
        wanted = int.from_bytes(body[:_LENGTH], "big")
        if len(body) < _LENGTH or not _CRC <= wanted <= LONGEST_MESSAGE:
            self._drop()
            return None
        self._wanted = wanted
        return self._go_on(body[_LENGTH:])

    def _go_on(self, body: bytes) -> bytes | None:
        self._message += body
        if len(self._message) < self._wanted:
            return None
        # Over a message and its CRC the CRC is 0.
        if len(self._message) > self._wanted or binascii.crc_hqx(self._message, 0):
            self._drop()
            return None
        message = bytes(self._message[:-_CRC])
        self._drop(told=False)
        return message

    def _drop(self, *, told: bool = True) -> None:
        self.broken += told
        self._message.clear()
        self._wanted = 0
