"""Sentences framed as in NMEA 0183, without I/O: bytes in, sentences out.

The standard is not public; the framing (``$``, checksum as exclusive or, CR LF, at most 82 characters) and the GGA
fields are as public descriptions give them: gpsd's page on NMEA, which cites NMEA 3.01 section 5.3 for the length. Real
logs hold sentences of 83 to 86 characters, so longer ones are read; none is sent.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import reduce

from benchday.domain.errors import Garbled, InputError
from benchday.domain.readings import Sky

LONGEST_SENT = 82
LONGEST_READ = 1024
"""A line that grows beyond this is no sentence and is thrown away."""

_FRAME = re.compile(rb"\$([^$*\r\n]+)\*([0-9A-Fa-f]{2})\r?")
_METRES = re.compile(r"-?[0-9]{1,5}(\.[0-9]{1,6})?")
_FIX = {"0": "none", "1": "single", "2": "single", "3": "single", "4": "fixed", "5": "float"}


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence whose checksum holds."""

    fields: tuple[str, ...]
    """The address first, without the dollar sign."""

    @property
    def address(self) -> str:
        return self.fields[0]


@dataclass(frozen=True, slots=True)
class Scanned:
    """What a stretch of bytes holds."""

    sentences: tuple[Sentence, ...]
    damaged: tuple[bytes, ...]
    """Lines that begin like a sentence and are none."""
    used: int
    """How many bytes need not be kept."""


def checksum(body: bytes) -> int:
    """Return the exclusive or of all characters between dollar sign and asterisk."""
    return reduce(lambda sum_, byte: sum_ ^ byte, body, 0)


def encode(*fields: str) -> bytes:
    """Build a sentence.

    Raises:
        InputError: a field holds a character that would break the frame, or all is longer than 82 characters.
    """
    body = ",".join(fields)
    for field in fields:
        if not field.isascii() or (not field.isprintable() and field) or set(field) & set("$*,"):
            raise InputError(f"{field!r} cannot be sent in a sentence: only printable ASCII without $ * and comma")
    sentence = f"${body}*{checksum(body.encode()):02X}\r\n".encode()
    if len(sentence) > LONGEST_SENT:
        raise InputError(f"{body} is too long for a sentence: {len(sentence)} characters, at most {LONGEST_SENT}")

    return sentence


def scan(buffer: bytes | bytearray) -> Scanned:
    """Take all whole lines from the buffer; what is between sentences is skipped."""
    *lines, tail = bytes(buffer).split(b"\n")
    sentences, damaged = [], []
    for line in lines:
        start = line.rfind(b"$")
        if start < 0:
            continue
        sentence = _read(line[start:]) if len(line) - start <= LONGEST_READ else None
        if sentence is None:
            damaged.append(line[start : start + LONGEST_READ])
        else:
            sentences.append(sentence)
    kept = len(tail) if len(tail) <= LONGEST_READ else 0

    return Scanned(tuple(sentences), tuple(damaged), len(buffer) - kept)


def _read(line: bytes) -> Sentence | None:
    match = _FRAME.fullmatch(line)
    if match is None or checksum(match[1]) != int(match[2], 16):
        return None
    try:
        return Sentence(tuple(match[1].decode("ascii").split(",")))
    except UnicodeDecodeError:
        return None


def sky_of_gga(sentence: Sentence) -> Sky:
    """Read fix, satellites and place from a GGA sentence of any talker.

    Raises:
        Garbled: it is no GGA, or a field is not what it should be.
    """
    fields = sentence.fields
    if len(fields) < 10 or not fields[0].endswith("GGA"):
        raise Garbled(f"expected a GGA sentence, got {','.join(fields)[:80]}")
    try:
        fix = _FIX.get(fields[6], "none")
        return Sky(
            fix=fix,
            base=None,
            satellites=int(fields[7] or "0"),
            latitude_e7=_degrees_e7(fields[2], fields[3], "NS") if fields[2] else None,
            longitude_e7=_degrees_e7(fields[4], fields[5], "EW") if fields[4] else None,
            hdop_centi=dilution_centi(fields[8]),
            height_mm=_height_mm(fields[9:13]),
        )
    except (ValueError, ArithmeticError) as error:
        raise Garbled(f"a GGA sentence holds a field that cannot be read: {','.join(fields)[:80]}") from error


def _height_mm(fields: Sequence[str]) -> int | None:
    """Return the antenna's height above the ellipsoid: above mean sea level, plus the geoid's above the ellipsoid.

    None where one of the two is not told; both are in metres, as M says.
    """
    if len(fields) < 4 or not fields[0] or not fields[2]:
        return None
    if (fields[1], fields[3]) != ("M", "M") or not all(_METRES.fullmatch(text) for text in (fields[0], fields[2])):
        raise ValueError(",".join(fields))
    return int(((Decimal(fields[0]) + Decimal(fields[2])) * 1000).to_integral_value())


def dilution_centi(text: str) -> int | None:
    """Return the dilution in hundredths; what is beyond 99.99 says that it is not known."""
    if not text:
        return None
    if not re.fullmatch(r"\d{1,3}(\.\d{1,4})?", text):
        raise ValueError(text)
    centi = int((Decimal(text) * 100).to_integral_value())
    return centi if centi < 9999 else None


def _degrees_e7(text: str, half: str, halves: str) -> int:
    """Turn degrees and minutes (dddmm.mmmm) into 1e-7 degrees, rounded half to even."""
    if half not in tuple(halves) or not re.fullmatch(r"\d{3,5}(\.\d+)?", text):
        raise ValueError(f"{text},{half}")
    point = text.find(".") if "." in text else len(text)
    degrees, minutes = Decimal(text[: point - 2] or "0"), Decimal(text[point - 2 :])
    if minutes >= 60:
        raise ValueError(f"{text}: minutes")
    e7 = int(((degrees + minutes / 60) * 10_000_000).to_integral_value())
    return -e7 if half == halves[1] else e7
