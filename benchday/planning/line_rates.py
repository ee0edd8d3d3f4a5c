"""What a unit's line carries at most, by its playbook: the physics under the times of writing and copying.

XMODEM-1K and YMODEM: blocks of 1024 bytes with 6 around each (``durations``). SMP on a serial line (Zephyr Project,
"SMP Transport Specification", UART/serial and console): a message with its length and CRC as Base64 (RFC 4648: four
characters for three bytes) in lines of at most 127 bytes, three of which are markers and line feed; the answer takes
the line likewise before the next piece leaves. Everywhere ten bits a byte.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchday.domain.playbook import Playbook
from benchday.planning.durations import USUAL_ROUND_TRIP_US, XMODEM_1K_BLOCK, Load, xmodem_1k_rate

USUAL_BAUD = 115_200
SMP_MESSAGE_BYTES = 2_048
"""Largest message that the driver sends where its setting ``message_bytes`` says nothing."""
SMP_AROUND = 26
"""Bytes of a message around its piece: header 8, the map and its names and numbers at most 18."""
SMP_ANSWER = 18
"""Bytes of the answer to a piece: header 8, map 1, "off" 4 and a number of 5."""
_LENGTH_AND_CRC = 4
_LINE_TEXT, _LINE_AROUND = 124, 3


@dataclass(frozen=True, slots=True)
class LineCarries:
    """How fast a line is."""

    bytes_per_second: float
    """Of payload, while a block is on the line."""
    block_bytes: int
    """Payload of one block, after which an answer is waited for."""

    def load(self, images_bytes: tuple[int, ...], recordings_bytes: int, round_trip_us: int) -> Load:
        """Return what has to pass the line, and how fast it goes."""
        return Load(images_bytes, recordings_bytes, self.bytes_per_second, self.block_bytes, round_trip_us)


def line_of(playbook: Playbook) -> LineCarries | None:
    """Return what a unit's line carries; None where nobody knows: a network, a drive, a person."""
    if playbook.line_baud is not None:
        return LineCarries(xmodem_1k_rate(playbook.line_baud), XMODEM_1K_BLOCK)
    if playbook.driver.name == "smp" and playbook.connector is not None:
        return smp_line(_whole(playbook, "baud", USUAL_BAUD), _whole(playbook, "message_bytes", SMP_MESSAGE_BYTES))
    return None


def smp_line(baud: int, message_bytes: int) -> LineCarries:
    """Return what SMP carries on a serial line in messages of so many bytes, one under way at a time."""
    piece = message_bytes - SMP_AROUND
    return LineCarries(piece * baud / 10 / (smp_line_bytes(message_bytes) + smp_line_bytes(SMP_ANSWER)), piece)


def smp_line_bytes(message_bytes: int) -> int:
    """Return what a message takes on the line, in bytes."""
    text = 4 * math.ceil((message_bytes + _LENGTH_AND_CRC) / 3)
    return text + _LINE_AROUND * math.ceil(text / _LINE_TEXT)


def load_of(playbook: Playbook, images_bytes: tuple[int, ...], recordings_bytes: int) -> Load:
    """Return what has to pass a unit's line, and how fast it goes where that is known."""
    line = line_of(playbook)
    if line is None:
        return Load(images_bytes, recordings_bytes, None)
    return line.load(images_bytes, recordings_bytes, USUAL_ROUND_TRIP_US)


def _whole(playbook: Playbook, name: str, usual: int) -> int:
    told = playbook.driver.settings.get(name)
    return told if isinstance(told, int) and not isinstance(told, bool) and told > 0 else usual
