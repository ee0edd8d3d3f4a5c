"""An image as the boot loader's documentation describes it (MCUboot, "Image format"), built for tests by themselves."""

from __future__ import annotations

import hashlib
from random import Random


def slot_image(version: str = "9.9.0", size: int = 20_000, *, seed: int = 7, after: bytes = b"") -> tuple[bytes, bytes]:
    """Build an image and its hash; ``after`` is a record (type 50 hex) that stands behind the hash."""
    major, minor, revision = (int(part) for part in version.split("."))
    header = 0x96F3B83D.to_bytes(4, "little") + bytes(4) + (32).to_bytes(2, "little") + bytes(2)
    header += size.to_bytes(4, "little") + bytes(4) + bytes((major, minor)) + revision.to_bytes(2, "little") + bytes(8)
    body = header + Random(seed).randbytes(size)
    digest = hashlib.sha256(body).digest()
    records = b"\x10\x00\x20\x00" + digest
    if after:
        records += b"\x50\x00" + len(after).to_bytes(2, "little") + after
    return body + b"\x07\x69" + (4 + len(records)).to_bytes(2, "little") + records, digest
