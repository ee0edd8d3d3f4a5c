"""Blocks of XMODEM and XMODEM-1K with CRC-16 (Forsberg 1988): bytes in, items out."""

from binascii import crc_hqx
from dataclasses import dataclass

SOH, STX, EOT, ACK, NAK, CAN, CRC_MODE = b"\x01", b"\x02", b"\x04", b"\x06", b"\x15", b"\x18", b"C"
PAD = b"\x1a"
SIZES = {SOH[0]: 128, STX[0]: 1024}
OVERHEAD = 5
"""kind, number, its complement, two bytes of CRC"""
SENTENCE = b"$PQFN,"


@dataclass(frozen=True)
class Block:
    """A block that came whole."""

    number: int
    """0 to 255"""
    data: bytes


@dataclass(frozen=True)
class Sign:
    """Something else that came."""

    what: str
    """broken (a block with a wrong CRC or number), end, cancel, or sentence (the peer speaks the dialogue again)"""


def block(number: int, data: bytes) -> bytes:
    """Frame a block; data shorter than its size is padded with 1A."""
    kind, size = (SOH, 128) if len(data) <= 128 else (STX, 1024)
    padded = data.ljust(size, PAD)
    number &= 0xFF
    return kind + bytes((number, number ^ 0xFF)) + padded + crc_hqx(padded, 0).to_bytes(2, "big")


class BlockReader:
    """Cut what a sender sends into blocks and signs."""

    def __init__(self) -> None:
        self._kept = bytearray()

    def feed(self, data: bytes) -> None:
        """Take bytes as they come."""
        self._kept += data

    def pending(self) -> bool:
        """Say whether a block has begun and is not whole."""
        return bool(self._kept)

    def clear(self) -> bytes:
        """Forget what is left of a broken block, and give it."""
        rest = bytes(self._kept)
        self._kept.clear()
        return rest

    def take(self) -> Block | Sign | None:
        """Give the next item, None while none is whole."""
        kept = self._kept
        while kept:
            first = kept[0]
            if first in SIZES:
                return self._block(SIZES[first])
            if first == EOT[0]:
                del kept[:1]
                return Sign("end")
            if first == CAN[0]:
                return self._cancel()
            if SENTENCE.startswith(kept[: len(SENTENCE)]):
                return Sign("sentence") if len(kept) >= len(SENTENCE) else None
            del kept[:1]  # noise between blocks
        return None

    def _block(self, size: int) -> Block | Sign | None:
        kept = self._kept
        if len(kept) < size + OVERHEAD:
            return None
        # The CRC of data followed by its own CRC is 0.
        body = bytes(kept[3 : size + OVERHEAD])
        number, complement = kept[1], kept[2]
        if number ^ complement != 0xFF or crc_hqx(body, 0):
            kept.clear()
            return Sign("broken")
        del kept[: size + OVERHEAD]
        return Block(number, body[:size])

    def _cancel(self) -> Sign | None:
        if len(self._kept) < 2:
            return None
        if self._kept[1] == CAN[0]:
            self._kept.clear()
            return Sign("cancel")
        del self._kept[:1]
        return self.take()  # type: ignore[return-value]
