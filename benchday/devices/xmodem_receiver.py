"""XMODEM with CRC-16 without I/O: the receiver, for blocks of 128 and 1024 bytes.

Source: C. Forsberg, XMODEM/YMODEM Protocol Reference, 1988-10-14, chapters 7 and 8. Where the true length is known
beforehand, padding is cut off, an EOT before that length is taken for a damaged byte, and a block beyond it that is
not mere padding ends the transfer: what was announced is not what comes. Where it is not known, the first EOT is
answered NAK, as in the reference's sample sessions: a damaged byte hardly comes twice.

Lines hand on few bytes at a time. As long as half of what a block still lacks cannot have come, at the pace of the
fastest block so far, nobody listens: many lines at once then cost a third of the work.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchday.devices import xmodem_blocks as x
from benchday.devices.xmodem import ALONE, Ending, Part, Turn


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
    standstill_us: int = 180_000_000
    """Without a good block, whatever else is heard; ten tries in silence take 110 s."""
    nap_us: tuple[int, int] = (3_000, 50_000)
    """Shortest and longest time in which nobody listens."""
    most_bytes: int = 1 << 32
    """Where the length is not known beforehand."""


class Receiver:
    """Receives ``length`` bytes; None if the length is not known, and then padding (1A hex) is part of the content."""

    def __init__(self, length: int | None, limits: ReceiverLimits | None = None, *, part: Part = ALONE) -> None:
        self.ending: Ending | None = None
        self.rest = b""
        self.done_bytes = 0
        self._length, self._limits, self._part = length, limits or ReceiverLimits(), part
        self._buffer = bytearray()
        self._begun = False
        self._damaged = False
        self._ends = 0
        self._next = part.first
        self._tries = 0
        self._wake_us = 0
        self._stands_still_us: int | None = None
        self._taken_us = 0
        self._pace: float | None = None
        self._napping = False
        self._lacked = 0

    def turn(self, heard: bytes, now_us: int) -> Turn:
        if self.ending is not None:
            self.rest = x.kept_rest(self.rest + heard)
            return Turn()
        if self._stands_still_us is None:
            self._stands_still_us = now_us + self._limits.standstill_us
        if now_us >= self._stands_still_us:
            return self._give_up()
        if heard and self._damaged:  # the line must fall quiet first
            self._buffer = bytearray((self._buffer + heard)[-_TAIL:])
            return self._wait(now_us + self._limits.inside_us)
        if heard:
            self._buffer += heard
            return self._work(now_us)
        if self._napping and now_us < self._wake_us:
            self._napping = False
            return self._wait(self._wake_us)
        if now_us >= self._wake_us:
            return self._woken(now_us)

        return self._wait(self._wake_us)

    def _woken(self, now_us: int) -> Turn:
        if self._buffer.rstrip(_BACKSPACES).endswith(x.HANG_UP):
            # Cancelled within a block, then silence; some senders follow up with backspaces.
            self._buffer.clear()
            self._end(Ending.CANCELLED)
            return Turn()
        self._tries += 1
        self._damaged = False
        self._buffer.clear()
        if self._tries > (self._limits.tries if self._begun else self._limits.starts):
            return self._give_up()
        if self._begun:
            return self._wait(now_us + self._limits.block_us, bytes((x.NAK,)))

        return self._wait(now_us + self._limits.start_us, bytes((x.CRC_PLEASE,)))

    def _give_up(self) -> Turn:
        self._buffer.clear()
        self._end(Ending.CUT if self._begun else Ending.NEVER_BEGAN)
        return Turn(send=x.HANG_UP)

    def _work(self, now_us: int) -> Turn:
        content: list[bytes] = []
        answer = b""
        before = self._next
        while self._buffer and self.ending is None and not self._damaged:
            head = self._buffer[0]
            if head in (x.SOH, x.STX):
                taken = x.take_block(self._buffer)
                if not taken.used:
                    break
                answer += self._take(taken, content)
            elif head == x.EOT and self._may_end():
                del self._buffer[0]
                answer += self._take_end()
            elif head == x.EOT and self._part.going and not self._part.ends:
                # Our answer to the end of the file before was lost: answer, and ask for the next head at once.
                del self._buffer[0]
                answer += bytes((x.ACK,))
                self._wake_us = now_us
            elif self._buffer.startswith(x.HANG_UP):
                del self._buffer[:2]
                self._end(Ending.CANCELLED)
            elif head == x.CAN and len(self._buffer) == 1:
                break
            else:
                self._skip()
        if self._next != before:
            self._stands_still_us = now_us + self._limits.standstill_us
            self._note_pace(now_us, sum(map(len, content)))
        if self._damaged or self._buffer:
            waiting = self._wait(now_us + self._limits.inside_us, answer, content)
            nap_us = 0 if answer else self._nap_us()
            self._napping = nap_us > 0
            return replace(waiting, wake_us=now_us + nap_us, listen=False) if nap_us else waiting

        return self._wait(now_us + self._limits.block_us if self._begun else self._wake_us, answer, content)

    def _note_pace(self, now_us: int, taken_bytes: int) -> None:
        if self._taken_us and taken_bytes:
            pace = (now_us - self._taken_us) / taken_bytes
            self._pace = pace if self._pace is None else min(self._pace, pace)
        self._taken_us = now_us

    def _nap_us(self) -> int:
        """Return how long nothing worth hearing can come; 0 if that is not worth a nap."""
        shortest_us, longest_us = self._limits.nap_us
        lacking, lacked = x.lacking(self._buffer), self._lacked
        self._lacked = 0
        if (
            4 * lacking > 3 * lacked > 0
        ):  # the last one did not bring what it should: this is no line with a steady pace
            self._pace, self._taken_us = None, 0
        if self._damaged or self._pace is None or not lacking:
            return 0
        nap_us = min(round(lacking * self._pace / 2), longest_us)
        if nap_us < shortest_us:
            return 0
        self._lacked = lacking if nap_us < longest_us else 0
        return nap_us

    def _take(self, taken: x.Taken, content: list[bytes]) -> bytes:
        if taken.number is None:
            self._buffer = self._buffer[-_TAIL:]
            self._damaged = True
            return b""
        del self._buffer[: taken.used]
        if taken.number == (self._next - 1) & 0xFF and self._is_repeat():  # our acknowledgement was lost
            return bytes((x.ACK,))
        if taken.number != self._next & 0xFF or self._is_too_much(taken.content):
            self._end(Ending.CUT)
            return x.HANG_UP

        self._begun, self._tries, self._ends = True, 0, 0
        self._next += 1
        piece = taken.content[: None if self._length is None else self._length - self.done_bytes]
        if piece:
            content.append(piece)
            self.done_bytes += len(piece)
        if not self._part.ends:
            self._end(Ending.WHOLE)
        return bytes((x.ACK,))

    def _is_repeat(self) -> bool:
        return self._begun or self._part.going

    def _is_too_much(self, content: bytes) -> bool:
        if self._length is None:
            return self.done_bytes + len(content) > self._limits.most_bytes

        return self.done_bytes >= self._length and bool(content.strip(bytes((x.PAD,))))

    def _may_end(self) -> bool:
        if not self._part.ends:
            return False
        if self._length is None:
            return self._begun or self._part.going

        return self.done_bytes >= self._length

    def _take_end(self) -> bytes:
        self._ends += 1
        if self._length is None and self._ends == 1:
            return bytes((x.NAK,))
        self._end(Ending.WHOLE)
        return bytes((x.ACK,))

    def _skip(self) -> None:
        # Text before the first block is thrown away up to what may be a block; later, it means a damaged head.
        if self._begun:
            self._buffer = self._buffer[-_TAIL:]
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


_BACKSPACES = b"\x08"
_TAIL = 32
"""Bytes that are kept of a damaged stretch, for a cancellation at its end."""
