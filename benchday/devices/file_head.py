"""What YMODEM says of a file before it sends it: the content of block 0, built and read, no state.

Source: C. Forsberg, XMODEM/YMODEM Protocol Reference, 1988-10-14, chapter 5 and figure 6: name, NUL, then length
(decimal), time and mode (octal), single spaces between, the rest NUL; "fields may not be skipped"; an empty name ends
the batch; a head beyond 128 bytes is sent as a block of 1024.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from benchday.devices import xmodem_blocks as x
from benchday.domain.errors import Garbled, InputError

LONGEST_NAME = 200
"""Bytes of a name, as UTF-8: file systems take 255, and whoever stores a file may want to add something."""
MOST_BYTES = 1 << 40

END_OF_BATCH = bytes(x.SMALL)
"""The content of the last block 0: no name."""

# What some file system that a bench PC may have does not take (common practice, no source).
_NOT_IN_NAMES = frozenset('<>:"|?*')
_DEVICE_NAMES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")


@dataclass(frozen=True, slots=True)
class FileHead:
    """A file's name and what else is told of it."""

    name: str
    length: int | None = None
    """Bytes; None if not told, and then what arrives may end in padding (1A hex)."""
    modified_s: int | None = None
    """Seconds since 1970 UTC."""
    mode: int | None = None
    """Permission bits and type as on Unix."""


def build_head(head: FileHead) -> bytes:
    """Build the content of block 0, of 128 or 1024 bytes.

    Raises:
        InputError: the name is empty, too long or not printable, or a figure is missing before one that is told.
    """
    name = head.name.encode()
    if not name or not head.name.isprintable() or len(name) > LONGEST_NAME:
        raise InputError(f"{head.name!r} cannot be sent as a file's name: 1 to {LONGEST_NAME} printable bytes")
    fields = [None if head.length is None else str(head.length)]
    fields += [None if octal is None else f"{octal:o}" for octal in (head.modified_s, head.mode)]
    while fields and fields[-1] is None:
        fields.pop()
    told = [field for field in fields if field is not None]
    if len(told) < len(fields) or any(field.startswith("-") for field in told):
        raise InputError(f"{head.name}: length, time and mode are told in this order, without gaps, from 0 upwards")

    content = name + b"\0" + " ".join(told).encode()
    return content.ljust(x.SMALL if len(content) < x.SMALL else x.LARGE, b"\0")


def read_head(content: bytes) -> FileHead | None:
    """Read the content of block 0; None ends the batch.

    Raises:
        Garbled: there is no usable name, or the length cannot be read.
    """
    name, ended, rest = content.partition(b"\0")
    if ended and not name:
        return None
    if not ended:
        raise Garbled("the head of a file has no end of its name")
    fields = rest.partition(b"\0")[0].split()
    length = _number(fields, 0, 10)
    if fields and (length is None or length > MOST_BYTES):
        raise Garbled(f"the head of a file tells no length that can be: {fields[0][:40]!r}")

    return FileHead(safe_name(name), length, _number(fields, 1, 8) or None, _number(fields, 2, 8))


def _number(fields: list[bytes], at: int, base: int) -> int | None:
    digits = fields[at] if at < len(fields) else b""
    most = 20
    if not re.fullmatch(rb"[0-9]+" if base == 10 else rb"[0-7]+", digits) or len(digits) > most:
        return None

    return int(digits, base)


def safe_name(told: bytes) -> str:
    """Make a file's name of what a unit told: the last part of a path, printable, bounded, fit for any file system.

    Raises:
        Garbled: nothing of it is left.
    """
    text = re.split(r"[/\\]", told.decode("utf-8", "replace"))[-1]
    text = "".join("_" if c in _NOT_IN_NAMES or not c.isprintable() or c == "\ufffd" else c for c in text)
    text = text.encode()[:LONGEST_NAME].decode("utf-8", "ignore").lstrip(" .").rstrip(" .")
    if not text.strip("_"):
        raise Garbled("the head of a file has no name that can be used")

    return f"_{text}" if _DEVICE_NAMES.fullmatch(text) else text
