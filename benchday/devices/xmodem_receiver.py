"""XMODEM with CRC-16 without I/O: the receiver, for blocks of 128 and 1024 bytes.

Source: C. Forsberg, XMODEM/YMODEM Protocol Reference, 1988-10-14, chapters 7 and 8. The true length is known
beforehand, so padding is cut off here, and an EOT before that length is taken for a damaged byte.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchday.devices import xmodem_blocks as x
from benchday.devices.xmodem import Ending, Turn


@dataclass(frozen=True, slots=True)
class ReceiverLimits:
    """Times in real microseconds."""

    start_us: int = 3_000_000
    """Between one C and the next ("up to 3 seconds", 8.2.1)."""
    starts: int = 10
    block_us: int = 10_000_000
    """For the next block to begin (7.3.2)."""
    inside_us: int = 1_000_000
    """Between bytes of a block, and for the line to fall quiet before a NAK (7.3.2)."""
    tries: int = 10


class Receiver:
    """Receives ``length`` bytes."""

    def __init__(self, length: int, limits: ReceiverLimits | None = None) -> None:
        self.ending: Ending | None = None
        self.rest = b""
        self.done_bytes = 0
        self._length, self._limits = length, limits or ReceiverLimits()
        self._buffer = bytearray()
        self._begun = False
        self._damaged = False
        self._noisy_until_us = 0
        self._next = 1
        self._tries = 0
        self._wake_us = 0

    def turn(self, heard: bytes, now_us: int) -> Turn:
        if self.ending is not None:
            self.rest += heard
            return Turn()
        if heard and not self._damaged:
            self._buffer += heard
            return self._work(now_us)
        if heard and now_us < self._noisy_until_us:  # after damage the line must fall quiet first
            return self._wait(min(now_us + self._limits.inside_us, self._noisy_until_us))
        if heard or now_us >= self._wake_us:  # or it never falls quiet, which counts as a try
            return self._woken(now_us)

        return self._wait(self._wake_us)

    def _woken(self, now_us: int) -> Turn:
        self._tries += 1
        self._damaged = False
        self._buffer.clear()
        if self._tries > (self._limits.tries if self._begun else self._limits.starts):
            self.ending = Ending.CUT if self._begun else Ending.NEVER_BEGAN
            return Turn(send=bytes((x.CAN, x.CAN)))
        if self._begun:
            return self._wait(now_us + self._limits.block_us, bytes((x.NAK,)))

        return self._wait(now_us + self._limits.start_us, bytes((x.CRC_PLEASE,)))

    def _work(self, now_us: int) -> Turn:
        content: list[bytes] = []
        answer = b""
        while self._buffer and self.ending is None and not self._damaged:
            head = self._buffer[0]
            if head in (x.SOH, x.STX):
                taken = x.take_block(self._buffer)
                if not taken.used:
                    break
                answer += self._take(taken, content)
            elif head == x.EOT and self.done_bytes >= self._length:
                del self._buffer[0]
                answer += bytes((x.ACK,))
                self._end(Ending.WHOLE)
            elif bytes(self._buffer[:2]) == bytes((x.CAN, x.CAN)):
                del self._buffer[:2]
                self._end(Ending.CANCELLED)
            elif head == x.CAN and len(self._buffer) == 1:
                break
            else:
                self._skip()
        if self._damaged:
            self._noisy_until_us = now_us + self._limits.block_us
        if self._damaged or self._buffer:
            return self._wait(now_us + self._limits.inside_us, answer, content)

        return self._wait(now_us + self._limits.block_us if self._begun else self._wake_us, answer, content)

    def _take(self, taken: x.Taken, content: list[bytes]) -> bytes:
        del self._buffer[: taken.used]
        if taken.number is None:
            self._damaged = True
            return b""
        if taken.number == (self._next - 1) & 0xFF and self._begun:  # our acknowledgement was lost
            self._tries += 1
            if self._tries <= self._limits.tries:
                return bytes((x.ACK,))
            self._end(Ending.CUT)  # it says the same over and over
            return bytes((x.CAN, x.CAN))
        if taken.number != self._next & 0xFF:
            self._end(Ending.CUT)
            return bytes((x.CAN, x.CAN))

        self._begun, self._tries = True, 0
        self._next += 1
        piece = taken.content[: self._length - self.done_bytes]
        self.done_bytes += len(piece)
        content.append(piece)
        return bytes((x.ACK,))

    def _skip(self) -> None:
        # Text before the first block is thrown away up to what may be a block; later, it means a damaged head.
        if self._begun:
            self._buffer.clear()
            self._damaged = True
        else:
            del self._buffer[0]

    def _end(self, ending: Ending) -> None:
        self.ending = ending
        self.rest = bytes(self._buffer)
        self._buffer.clear()

    def _wait(self, wake_us: int, send: bytes = b"", content: list[bytes] | None = None) -> Turn:
        self._wake_us = wake_us
        return Turn(send, wake_us, content=tuple(content or ()))
