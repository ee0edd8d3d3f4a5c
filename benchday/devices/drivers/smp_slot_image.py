"""The hash that an image carries, by which the boot loader and the image group know it.

Source: MCUboot documentation, "Image format": a header of 32 bytes or more (magic, sizes), the program, then records of
type, length and value, numbers little endian; type 10 hex is the SHA-256 of header, program and protected records.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

MAGIC = 0x96F3B83D
_TLV_MAGIC = 0x6907
_SHA256 = 0x10
_HEADER = struct.Struct("<IIHHIIBBHII")
_PAIR = struct.Struct("<HH")
_DIGEST_BYTES = 32


@dataclass(frozen=True, slots=True)
class SlotImage:
    """What is read off an image file."""

    version: str
    """major.minor.revision, and .build where that is not 0: as the image group words it."""
    hash: bytes
    """32 bytes."""
    hash_ends: int
    """Where the hash ends in the file (bytes from its start)."""


def read_slot_image(image: bytes) -> SlotImage | None:
    """Read version and hash; None if it is no image of this format, or carries no SHA-256."""
    if len(image) < _HEADER.size:
        return None
    magic, _, header, protected, size, _, major, minor, revision, build, _ = _HEADER.unpack_from(image)
    if magic != MAGIC:
        return None
    found = _hash_at(image, header + size + protected)
    if found is None:
        return None
    version = f"{major}.{minor}.{revision}" + (f".{build}" if build else "")
    return SlotImage(version, image[found : found + _DIGEST_BYTES], found + _DIGEST_BYTES)


def _hash_at(image: bytes, at: int) -> int | None:
    """Find where the hash begins among the records that begin at ``at``."""
    if at + _PAIR.size > len(image):
        return None
    magic, total = _PAIR.unpack_from(image, at)
    end = min(at + total, len(image))
    if magic != _TLV_MAGIC:
        return None
    at += _PAIR.size
    while at + _PAIR.size <= end:
        kind, length = _PAIR.unpack_from(image, at)
        at += _PAIR.size
        if kind == _SHA256 and length == _DIGEST_BYTES and at + length <= end:
            return at
        at += length
    return None
