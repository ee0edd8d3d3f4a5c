"""The image file of a Wherry: the boot loader's open format (MCUboot documentation, "Image format")."""

import hashlib
import random
import struct
from dataclasses import dataclass

MAGIC = 0x96F3B83D
HEADER = 32
RECORDS_MAGIC = 0x6907
SHA256_RECORD = 0x10


class BadSlotImage(ValueError):
    """The bytes are no image; the words say why."""


@dataclass(frozen=True)
class SlotImageHeader:
    """What stands at the beginning of an image."""

    header_bytes: int
    program_bytes: int
    version: str
    """three numbers with dots"""


def build_slot_image(version: str, program_bytes: int, seed: int) -> bytes:
    """Build an image: the same arguments give the same bytes."""
    major, minor, revision = (int(part) for part in version.split("."))
    numbers = (MAGIC, 0, HEADER, 0, program_bytes, 0, major, minor, revision, 0, 0)
    body = struct.pack("<IIHHIIBBHII", *numbers) + random.Random(f"slot:{seed}:{version}").randbytes(program_bytes)
    record = struct.pack("<BBH", SHA256_RECORD, 0, 32) + hashlib.sha256(body).digest()
    return body + struct.pack("<HH", RECORDS_MAGIC, 4 + len(record)) + record


def read_slot_header(data: bytes) -> SlotImageHeader:
    """Read the header; raises BadSlotImage."""
    if len(data) < HEADER or struct.unpack_from("<I", data)[0] != MAGIC:
        raise BadSlotImage("does not begin with the boot loader's number")
    header_bytes, program_bytes = struct.unpack_from("<H", data, 8)[0], struct.unpack_from("<I", data, 12)[0]
    major, minor, revision = struct.unpack_from("<BBH", data, 20)
    return SlotImageHeader(header_bytes, program_bytes, f"{major}.{minor}.{revision}")


def hash_of(data: bytes) -> bytes:
    """Compute the hash that a whole image has to carry, and check that it does; raises BadSlotImage."""
    header = read_slot_header(data)
    end = header.header_bytes + header.program_bytes
    digest = hashlib.sha256(data[:end]).digest()
    if data[end : end + 2] != struct.pack("<H", RECORDS_MAGIC) or data[end + 8 : end + 40] != digest:
        raise BadSlotImage("its hash is not what it says")
    return digest


def factory_hash(model: str, release: str) -> bytes:
    """Give the hash of a release that the unit came with."""
    return hashlib.sha256(f"{model}:{release}".encode()).digest()
