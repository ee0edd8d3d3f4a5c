"""XMODEM without I/O: the sender, in blocks of 128 or 1024. Bytes heard and the time go in; what to send and when to
look again come out.

Source: C. Forsberg, XMODEM/YMODEM Protocol Reference, 1988-10-14. There (7.3.3) either side may repeat; as not every
receiver does, the sender repeats a block after silence. Its answer may merely have been late, so that two come, as they
may when a receiver asks again while its block is on the way: after a repeat the line must fall quiet before the next
block, or the second answer would acknowledge a block not yet received.
Two pauses are for receivers that throw input away right after each answer (seen with lrzsz 0.12.21, which calls
tcflush): 1 ms before each block, 50 ms after C.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from benchday.devices import xmodem_blocks as x
from benchday.devices.file_head import FileHead


class Ending(Enum):
    """How a transfer ended."""

    WHOLE = "whole"
    """The other side acknowledged the end."""
    NEVER_BEGAN = "never began"
    """Nothing was asked for, or nothing came, within the time limit; no block left."""
    CANCELLED = "cancelled"
    """The other side sent CAN CAN."""
    CUT = "cut"
    """Too many repeats, or silence, or the other side went back to text."""
    UNKNOWN = "unknown"
    """Everything left, and the acknowledgement of the end never came."""


@dataclass(frozen=True, slots=True)
class Turn:
    """What to do next."""

    send: bytes = b""
    wake_us: int = 0
    """Come again at this monotonic time, or sooner with what was heard."""
    listen: bool = True
    """False for a mere pause: nothing worth hearing can come before."""
    content: tuple[bytes, ...] = ()
    """What a receiver has to hand over."""
    opens: FileHead | None = None
    """A file begins; this turn's content belongs to it."""
    closes: bool = False
    """With this turn's content the file is whole; keep it before the answer leaves."""


class Machine(Protocol):
    """One side of a transfer."""

    ending: Ending | None
    rest: bytes
    """What was heard after the end and belongs to whoever speaks next."""

    @property
    def done_bytes(self) -> int:
        """How much content was acknowledged, in bytes."""
        ...

    def turn(self, heard: bytes, now_us: int) -> Turn:
        """Take what was heard (nothing, if only time has passed) and say what to do."""
        ...


@dataclass(frozen=True, slots=True)
class Limits:
    """Times in real microseconds."""

    start_us: int = 60_000_000
    """For the first C or NAK ("say one minute", 7.3.3)."""
    answer_us: int = 4_000_000
    """For the answer to a block, before it is sent again; receivers give up after 10 s without a block (7.3.2)."""
    quiet_us: int = 300_000
    """Before the next block, where a second answer to a repeated one may still come."""
    end_us: int = 3_000_000
    """Between one EOT and the next; some receivers wait for a second of silence before they acknowledge."""
    ends: int = 3
    """How many EOTs without an answer."""
    tries: int = 10
    """How often one block is repeated ("All errors are retried 10 times", 7.3.1)."""
    next_us: int = 15_000_000
    """For each later C of a batch; rx of lrzsz 0.12.21 repeats one that was lost after 13 s."""
    before_block_us: int = 1_000
    after_start_us: int = 50_000
    text: int = 16
    """So many printable characters in a row where an acknowledgement is due: the receiver has left the transfer."""


@dataclass(frozen=True, slots=True)
class Part:
    """What a transfer is a part of."""

    first: int = 1
    """Number of the first block."""
    ends: bool = True
    """EOT follows the last block; without it the last acknowledgement ends this part."""
    sums: bool = True
    """NAK begins a transfer with sums and blocks of 128."""
    going: bool = False
    """The receiver has spoken before, so that text instead of C means that it has left."""


ALONE = Part()
_NOT_TAKEN = bytes((x.NAK, x.CAN, x.CRC_PLEASE))
"""Answers to a first block by which it was not taken."""


class _At(Enum):
    START = "waiting for C"
    STARTING = "C heard, pausing"
    PAUSE = "pausing before a block"
    ANSWER = "waiting for the answer to a block"
    END = "waiting for the answer to EOT"


class Sender:
    """Sends data once the receiver asks for it."""

    def __init__(self, data: bytes, limits: Limits | None = None, *, block: int = x.LARGE, part: Part = ALONE) -> None:
        """Take the data.

        Args:
            data: all of it.
            limits: real microseconds.
            block: bytes in a block, 128 or 1024; a receiver that asks for sums gets 128.
            part: what this is a part of.
        """
        if block not in (x.SMALL, x.LARGE):
            raise ValueError(f"blocks have 128 or 1024 bytes, not {block}")
        self.ending: Ending | None = None
        self.rest = b""
        self.done_bytes = 0
        self._data, self._limits, self._block, self._part = data, limits or Limits(), block, part
        self._blocks: tuple[bytes, ...] = ()
        self._crc = True
        self._at = _At.START
        self._next = 0
        self._tries = 0
        self._repeated = False
        self._doubtful = False
        self._begin_by_us = -1
        self._wake_us = 0
        self._last = 0
        self._text = bytearray()

    @property
    def nothing_taken(self) -> bool:
        """Whether the other side can have taken none of the content.

        So it is if no block left, or if it cancelled at the first, and neither silence nor anything that is no answer
        was heard before: an acknowledgement may have been lost in either.
        """
        return not self._blocks or (self.ending is Ending.CANCELLED and not self._doubtful)

    def turn(self, heard: bytes, now_us: int) -> Turn:
        if self.ending is not None:
            self.rest = x.kept_rest(self.rest + heard)
            return Turn()
        if self._begin_by_us < 0:
            limits = self._limits
            self._begin_by_us = now_us + (limits.next_us if self._part.going else limits.start_us)
            self._wake_us = self._begin_by_us
        for at, byte in enumerate(heard):
            turn = self._hear(byte, now_us)
            if self.ending is not None:
                self.rest = bytes(self._text) + heard[at + 1 :]
                return turn or Turn()
            if turn is not None:
                return self._unless_cancelled(turn, heard[at + 1 :])
        if now_us >= self._wake_us:
            return self._woken(now_us)

        return self._wait()

    def _unless_cancelled(self, turn: Turn, beyond: bytes) -> Turn:
        # What was heard beyond this answer was sent before we spoke, so it acknowledges nothing; but it may cancel.
        before, cancel, after = beyond.partition(x.HANG_UP)
        if not cancel:
            return turn
        self._doubt(before)
        self.ending, self.rest = Ending.CANCELLED, after
        return Turn()

    def _hear(self, byte: int, now_us: int) -> Turn | None:
        cancelled = byte == x.CAN == self._last
        self._last = byte
        if cancelled:
            self.ending = Ending.CANCELLED
            return None
        starting = self._at in (_At.START, _At.STARTING)
        if not starting:
            self._doubt(bytes((byte,)))
        if (not starting or self._part.going) and self._is_text(byte):
            self.ending = Ending.UNKNOWN if self._at is _At.END else Ending.CUT
            return None
        if starting:
            self._hear_start(byte, now_us)
        if self._at is _At.ANSWER:
            return self._hear_answer(byte, now_us)
        if self._at is _At.END:
            return self._hear_end(byte, now_us)

        return None

    def _hear_start(self, byte: int, now_us: int) -> None:
        # A C within text is followed by more text: only one that is followed by silence counts.
        if byte == x.CRC_PLEASE or (byte == x.NAK and self._part.sums):
            self._crc = byte == x.CRC_PLEASE
            self._go(_At.STARTING, min(now_us + self._limits.after_start_us, self._begin_by_us))
        elif self._at is _At.STARTING:
            self._go(_At.START, self._begin_by_us)

    def _hear_answer(self, byte: int, now_us: int) -> Turn | None:
        asked_anew = byte == x.NAK or (byte == x.CRC_PLEASE and self._next == 0)
        if byte == x.ACK:
            self.done_bytes = min(self.done_bytes + len(self._blocks[self._next]), len(self._data))
            self._next += 1
            self._tries = 0
            return self._acknowledged(now_us)
        if asked_anew:
            return self._give_up() if self._tried_enough() else self._pause(now_us, repeats=True)

        return None

    def _doubt(self, heard: bytes) -> None:
        self._doubtful |= bool(heard.strip(_NOT_TAKEN))

    def _acknowledged(self, now_us: int) -> Turn | None:
        if self._next < len(self._blocks) or self._part.ends:
            return self._pause(now_us)
        self.ending = Ending.WHOLE
        return None

    def _tried_enough(self) -> bool:
        self._tries += 1
        return self._tries > self._limits.tries

    def _give_up(self) -> Turn:
        self.ending = Ending.CUT
        return Turn(send=x.HANG_UP)

    def _hear_end(self, byte: int, now_us: int) -> Turn | None:
        if byte == x.ACK:
            self.ending = Ending.WHOLE
        elif byte == x.NAK and self._tries <= self._limits.ends:
            return self._send_end(now_us)

        return None

    def _is_text(self, byte: int) -> bool:
        if 0x20 <= byte < 0x7F or (self._text and byte in b"\r\n"):
            self._text.append(byte)
        else:
            self._text.clear()
        return len(self._text) >= self._limits.text

    def _woken(self, now_us: int) -> Turn:
        if self._at is _At.START:
            self.ending, self.rest = Ending.NEVER_BEGAN, bytes(self._text)
            return Turn(send=x.HANG_UP)
        if self._at is _At.STARTING:
            self._blocks = x.cut_into_blocks(self._data, large=self._crc and self._block == x.LARGE)
            return self._send_block(now_us)
        if self._at is _At.PAUSE:
            return self._send_block(now_us)
        if self._at is _At.ANSWER:
            self._repeated = self._doubtful = True
            return self._give_up() if self._tried_enough() else self._send_block(now_us)
        if self._tries < self._limits.ends:
            return self._send_end(now_us)
        self.ending = Ending.UNKNOWN
        return Turn()

    def _pause(self, now_us: int, *, repeats: bool = False) -> Turn:
        quiet = self._repeated
        self._repeated = repeats
        self._go(_At.PAUSE, now_us + (self._limits.quiet_us if quiet else self._limits.before_block_us))
        return self._wait(listen=quiet)

    def _send_block(self, now_us: int) -> Turn:
        if self._next >= len(self._blocks):
            self._tries = 0
            return self._send_end(now_us)
        self._go(_At.ANSWER, now_us + self._limits.answer_us)
        return self._wait(x.block(self._next + self._part.first, self._blocks[self._next], crc=self._crc))

    def _send_end(self, now_us: int) -> Turn:
        self._tries += 1
        self._go(_At.END, now_us + self._limits.end_us)
        return self._wait(bytes((x.EOT,)))

    def _go(self, at: _At, wake_us: int) -> None:
        self._at, self._wake_us = at, wake_us

    def _wait(self, send: bytes = b"", *, listen: bool = True) -> Turn:
        return Turn(send, self._wake_us, listen)
