"""The image file (`.fen`): an ASCII header of at most 512 bytes ended by an empty line, then the payload."""

import random
import zlib
from dataclasses import dataclass

from .slot_images import build_slot_image

FIRST_LINE = "FENIMAGE 1"
HEADER_END = b"\n\n"
LONGEST_HEADER = 512


class BadHeader(ValueError):
    """The bytes do not begin with a header that can be read; the words say why."""


@dataclass(frozen=True)
class ImageHeader:
    """What an image says of itself."""

    model: str
    version: str
    hardware: tuple[str, ...]
    """revisions it suits"""
    enter_from: str
    """oldest version from which a running unit may enter it; empty: any"""
    payload_bytes: int
    crc32: int
    """CRC-32 (ISO-HDLC) of the payload"""

    def __post_init__(self) -> None:
        """Refuse what could not be an image; raises ValueError."""
        if not self.model or not self.hardware or self.payload_bytes <= 0:
            raise ValueError("an image needs a model, a hardware revision and a payload")
        version_key(self.version)
        version_key(self.enter_from)

    def text(self) -> bytes:
        """Write the header as it stands in the file, its empty line included."""
        lines = [
            FIRST_LINE,
            f"model: {self.model}",
            f"version: {self.version}",
            f"hardware: {' '.join(self.hardware)}",
            *([f"enter-from: {self.enter_from}"] if self.enter_from else []),
            f"bytes: {self.payload_bytes}",
            f"crc32: {self.crc32:08x}",
        ]
        return "\n".join(lines).encode("ascii") + HEADER_END


def version_key(version: str) -> tuple[int, ...]:
    """Give dotted numbers in an order in which 2.10 comes after 2.9; raises ValueError."""
    return tuple(int(part) for part in version.split(".")) if version else ()


def header_length(data: bytes) -> int | None:
    """Give the length of the header with its empty line, None while that has not come yet; raises BadHeader."""
    if not data.startswith(FIRST_LINE.encode()[: len(data)]):
        raise BadHeader(f"does not begin with {FIRST_LINE}")
    end = data.find(HEADER_END, 0, LONGEST_HEADER)
    if end >= 0:
        return end + len(HEADER_END)
    if len(data) >= LONGEST_HEADER:
        raise BadHeader(f"no empty line within {LONGEST_HEADER} bytes")
    return None


def read_header(data: bytes) -> ImageHeader:
    """Read a header that is whole; raises BadHeader."""
    try:
        first, *lines = data.decode("ascii").strip("\n").split("\n")
        pairs = dict(line.split(": ", 1) for line in lines)
        if first != FIRST_LINE:
            raise BadHeader(f"does not begin with {FIRST_LINE}")
        return ImageHeader(
            model=pairs["model"],
            version=pairs["version"],
            hardware=tuple(pairs["hardware"].split()),
            enter_from=pairs.get("enter-from", ""),
            payload_bytes=int(pairs["bytes"]),
            crc32=int(pairs["crc32"], 16),
        )
    except KeyError as missing:
        raise BadHeader(f"line {missing.args[0]} is missing") from None
    except (ValueError, UnicodeDecodeError):
        raise BadHeader("a line cannot be read") from None


def build_image(  # noqa: PLR0917 each of these is a line of the header, or makes the payload
    model: str,
    version: str,
    hardware: tuple[str, ...] | list[str],
    payload_bytes: int,
    seed: int,
    enter_from: str = "",
) -> bytes:
    """Build an image for an invented model: the same arguments give the same bytes.

    A Wherry's format tells neither model nor hardware.
    """
    if model == "Wherry":
        return build_slot_image(version, payload_bytes, seed)
    payload = random.Random(f"image:{seed}:{model}:{version}").randbytes(payload_bytes)
    header = ImageHeader(model, version, tuple(hardware), enter_from, payload_bytes, zlib.crc32(payload))
    return header.text() + payload
