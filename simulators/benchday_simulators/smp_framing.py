"""How a message stands on the unit's serial line. Source: Zephyr Project, "SMP Transport Specification"."""

import base64
import struct

BEGINS, CONTINUES = b"\x06\x09", b"\x04\x14"
MTU = 127
"""bytes of a line, both markers and the line feed included"""
BODY = 120
"""characters of a line's body; a multiple of 4, and some less than would fit"""


def crc16(data: bytes) -> int:
    """Give the CRC: polynomial 1021, begins with 0."""
    crc = 0
    for byte in data:
        crc = ((crc << 8) & 0xFFFF) ^ TABLE[(crc >> 8) ^ byte]
    return crc


def _row(byte: int) -> int:
    crc = byte << 8
    for _ in range(8):
        crc = ((crc << 1) ^ 0x1021) & 0xFFFF if crc & 0x8000 else crc << 1
    return crc


TABLE = tuple(_row(byte) for byte in range(256))


def lines_of(message: bytes) -> bytes:
    """Put a message into lines."""
    packet = struct.pack(">H", len(message) + 2) + message + struct.pack(">H", crc16(message))
    text = base64.b64encode(packet)
    lines, mark = b"", BEGINS
    while text:
        lines += mark + text[:BODY] + b"\n"
        text, mark = text[BODY:], CONTINUES
    return lines


class Reassembly:
    """Put messages together from lines, as far as the unit's buffer goes."""

    def __init__(self, buffer_bytes: int) -> None:
        self._buffer = buffer_bytes
        self._line = b""
        self._packet = b""
        self._announced: int | None = None

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes; gives what is whole. What does not fit, or is damaged, is dropped without a word."""
        *lines, self._line = (self._line + data).split(b"\n")
        if len(self._line) > MTU:  # no frame any more
            self._line = self._line[-1:]
        return [message for line in lines if (message := self._frame(line)) is not None]

    def _frame(self, line: bytes) -> bytes | None:
        mark, body = line[:2], line[2:]
        if len(line) >= MTU or mark not in {BEGINS, CONTINUES} or (mark == CONTINUES and self._announced is None):
            return None
        try:
            raw = base64.b64decode(body, validate=True)
        except ValueError:
            self._announced = None
            return None
        if mark == BEGINS:
            if len(raw) < 2:
                return None
            (self._announced,) = struct.unpack_from(">H", raw)
            self._packet, raw = b"", raw[2:]
        self._packet += raw
        return self._whole()

    def _whole(self) -> bytes | None:
        announced = self._announced or 0
        # The buffer holds the length and the CRC beside the message.
        if announced + 2 > self._buffer:
            self._announced = None
            return None
        if len(self._packet) < announced:
            return None
        self._announced = None
        message, crc = self._packet[:-2], self._packet[-2:]
        if len(self._packet) != announced or struct.pack(">H", crc16(message)) != crc:
            return None
        return message
