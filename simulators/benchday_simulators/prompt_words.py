"""The lines of the prompt dialogue: cut from what comes, ended and refused as a Gantry does."""

PROMPT = b">"
LONGEST = 100
"""characters of a request"""
NUMBERS = {
    "line": 0,
    "unknown": 1,
    "boot": 2,
    "missing": 3,
    "busy": 4,
    "power": 5,
    "header": 6,
    "model": 7,
    "hardware": 8,
    "route": 9,
    "crc": 10,
    "size": 11,
    "cut": 12,
    "nokey": 13,
    "full": 14,
}


def line(text: str) -> bytes:
    """End a line."""
    return text.encode("ascii", "replace") + b"\r\n"


def refusal(code: str, words: str = "") -> bytes:
    """Say no: a number, and words."""
    shown = "".join(character for character in words if character.isprintable())[:60]
    return line(f"?{NUMBERS.get(code, 1)} {shown or code}")


class LineCutter:
    """Collect bytes and cut them into requests, each ended by CR."""

    def __init__(self) -> None:
        self._kept = bytearray()

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes, give the requests that are now whole."""
        self._kept += data
        *lines, rest = self._kept.split(b"\r")
        self._kept = rest[-(LONGEST + 1) :]
        return [bytes(one).strip(b"\n") for one in lines]

    def clear(self) -> None:
        """Forget what has come of an unfinished request."""
        self._kept.clear()
