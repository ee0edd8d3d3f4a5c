"""Frame and read the sentences of the serial dialogue, framed as in NMEA 0183."""

from functools import reduce

PREFIX = "PQFN"
LONGEST = 82
"""characters of a sentence, `$` and CR LF counted (NMEA 0183)"""
LONGEST_INPUT = 512
"""what is kept of input that never ends a line"""


class BadSentence(ValueError):
    """A line came that is not a whole sentence."""


def checksum(body: str) -> str:
    """Give the exclusive or of all characters between `$` and `*`, as two hexadecimal digits."""
    return f"{reduce(lambda total, byte: total ^ byte, body.encode('ascii'), 0):02X}"


def frame(body: str) -> bytes:
    """Frame a sentence; raises ValueError when it would be longer than 82 characters."""
    sentence = f"${body}*{checksum(body)}\r\n"
    if len(sentence) > LONGEST:
        raise ValueError(f"sentence of {len(sentence)} characters, at most {LONGEST} are allowed: {sentence!r}")
    return sentence.encode("ascii")


def answer(*fields: object) -> bytes:
    """Frame one of the unit's own sentences."""
    return frame(",".join((PREFIX, *map(str, fields))))


def plain(words: str, room: int) -> str:
    """Give words that may stand in a field: no separators, no control characters, at most `room` long."""
    kept = "".join(" " if character in ",*$" or not character.isprintable() else character for character in words)
    return kept.encode("ascii", "replace").decode()[:room]


def fields_of(line: bytes) -> list[str]:
    """Read a line from `$` on; raises BadSentence when its checksum is missing or wrong."""
    body, star, digits = line.lstrip(b"$").strip().partition(b"*")
    try:
        text = body.decode("ascii")
    except UnicodeDecodeError:
        raise BadSentence("not ASCII") from None
    if not star or digits.decode("ascii", "replace").upper() != checksum(text):
        raise BadSentence(f"checksum of {text!r} is {checksum(text)}, not {digits!r}")
    return text.split(",")


class LineCutter:
    """Collect bytes and cut them into lines that begin with `$`."""

    def __init__(self) -> None:
        self._kept = bytearray()

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes, give the lines that are now whole, without what stood before their `$`."""
        self._kept += data
        *lines, rest = self._kept.split(b"\n")
        self._kept = rest[-LONGEST_INPUT:]
        return [bytes(line[line.rindex(b"$") :]) for line in lines if b"$" in line]

    def clear(self) -> bytes:
        """Forget what has come of an unfinished line, and give it."""
        rest = bytes(self._kept)
        self._kept.clear()
        return rest
