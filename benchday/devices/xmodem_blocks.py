"""XMODEM's blocks: built and taken apart, no state.

Source: C. Forsberg, XMODEM/YMODEM Protocol Reference, 1988-10-14: chapter 4 (CRC-16, 1k blocks), figures 9 and 11.
"""

from __future__ import annotations

import binascii
from dataclasses import dataclass

SOH, STX, EOT, ACK, NAK, CAN = 0x01, 0x02, 0x04, 0x06, 0x15, 0x18
CRC_PLEASE = 0x43
"""The letter C: the receiver starts, and wants CRC-16."""
PAD = 0x1A
SMALL, LARGE = 128, 1024
HANG_UP = bytes((CAN, CAN))
"""Two CAN in a row cancel."""
MOST_REST = 65_536
"""So much of what was heard after the end is kept, in bytes."""


def kept_rest(heard: bytes) -> bytes:
    """Return what a machine keeps of what was heard after its end."""
    return heard[:MOST_REST]


def cut_into_blocks(data: bytes, *, large: bool) -> tuple[bytes, ...]:
    """Cut data into the blocks' contents; a last piece that fits is sent as one block of 128, padded with 1A hex."""
    size = LARGE if large else SMALL
    pieces = [data[at : at + size] for at in range(0, len(data), size)]
    return tuple(_padded(piece) for piece in pieces)


def _padded(piece: bytes) -> bytes:
    size = SMALL if len(piece) <= SMALL else LARGE
    return piece.ljust(size, bytes([PAD]))


def block(number: int, content: bytes, *, crc: bool) -> bytes:
    """Build one block; numbers start at 1 and wrap from FF to 00 hex."""
    low = number & 0xFF
    head = bytes((STX if len(content) == LARGE else SOH, low, 0xFF - low))
    return head + content + check_of(content, crc=crc)


def check_of(content: bytes, *, crc: bool) -> bytes:
    """Return the block check of the content alone: CRC-16 high byte first, or the sum."""
    if crc:
        return binascii.crc_hqx(content, 0).to_bytes(2, "big")

    return bytes((sum(content) & 0xFF,))


@dataclass(frozen=True, slots=True)
class Taken:
    """What stands at the head of a receiver's buffer."""

    used: int
    """How many bytes it occupies; 0 if the block is not all there yet."""
    number: int | None = None
    """Block number as sent; None if the block is damaged."""
    content: bytes = b""


def lacking(buffer: bytes | bytearray) -> int:
    """Return how many bytes the block at the head of the buffer lacks; 0 if there is none, or it is damaged."""
    if len(buffer) < 3 or buffer[0] not in (SOH, STX) or buffer[1] + buffer[2] != 0xFF:
        return 0

    return max(3 + (LARGE if buffer[0] == STX else SMALL) + 2 - len(buffer), 0)


def take_block(buffer: bytes | bytearray) -> Taken:
    """Take the block at the head of the buffer, which begins with SOH or STX (CRC-16 only)."""
    size = LARGE if buffer[0] == STX else SMALL
    whole = 3 + size + 2
    if len(buffer) >= 3 and buffer[1] + buffer[2] != 0xFF:
        return Taken(used=len(buffer))
    if len(buffer) < whole:
        return Taken(used=0)

    content = bytes(buffer[3 : 3 + size])
    if check_of(content, crc=True) != buffer[3 + size : whole]:
        return Taken(used=len(buffer))

    return Taken(used=whole, number=buffer[1], content=content)
