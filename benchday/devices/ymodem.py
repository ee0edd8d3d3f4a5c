"""YMODEM batch without I/O: several files, each with its name and exact length, one after the other.

Each file is two transfers of XMODEM's kind: its head alone as block 0, without an EOT, then its content from block 1
on; a head without a name ends the batch. Source: C. Forsberg, XMODEM/YMODEM Protocol Reference, 1988-10-14, chapter 5.
YMODEM-g, which sends without waiting for answers, is not spoken: a damaged block would end it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchday.devices import xmodem_blocks as x
from benchday.devices.file_head import END_OF_BATCH, FileHead, build_head, read_head
from benchday.devices.xmodem import Ending, Limits, Part, Sender, Turn
from benchday.devices.xmodem_receiver import Receiver, ReceiverLimits
from benchday.domain.errors import Garbled

_FIRST_HEAD = Part(first=0, ends=False, sums=False)
_HEAD = Part(first=0, ends=False, sums=False, going=True)
_CONTENT = Part(sums=False, going=True)


@dataclass(frozen=True, slots=True)
class Outgoing:
    """A file to send."""

    name: str
    data: bytes
    modified_s: int | None = None
    """Seconds since 1970 UTC."""
    mode: int | None = None
    """Permission bits and type as on Unix; told only with a time."""


class BatchSender:
    """Sends files once the receiver asks for them.

    WHOLE means that the other side acknowledged the end of the batch. UNKNOWN means that everything left; then
    ``files_done`` still says how many files it acknowledged as whole.
    """

    def __init__(self, files: Sequence[Outgoing], limits: Limits | None = None, *, block: int = x.LARGE) -> None:
        """Take the files.

        Args:
            files: in the order in which they are sent.
            limits: real microseconds.
            block: bytes in a block of content, 128 or 1024.

        Raises:
            InputError: a file's name cannot be sent.
        """
        self.ending: Ending | None = None
        self.rest = b""
        self.files_done = 0
        self._files, self._limits, self._block = tuple(files), limits or Limits(), block
        self._heads = [build_head(FileHead(f.name, len(f.data), f.modified_s, f.mode)) for f in self._files]
        self._in_content = False
        self._part = self._head(_FIRST_HEAD)
        self._bytes_before = 0

    @property
    def done_bytes(self) -> int:
        """Bytes of content that were acknowledged, of all files together."""
        return self._bytes_before + (self._part.done_bytes if self._in_content else 0)

    @property
    def nothing_taken(self) -> bool:
        """Whether the other side can have taken none of the content; a head with its answer in doubt counts, too."""
        return self.files_done == 0 and self._part.nothing_taken

    def turn(self, heard: bytes, now_us: int) -> Turn:
        if self.ending is not None:
            self.rest = x.kept_rest(self.rest + heard)
            return Turn()
        turn = self._part.turn(heard, now_us)
        if self._part.ending is None:
            return turn
        if self._part.ending is not Ending.WHOLE or self._is_closing or not self._files:
            self._end(self._part.ending)
            return Turn() if self._is_closing else turn  # it may have left already: no CAN CAN into its console

        rest = self._part.rest
        self._go_on()
        return self._part.turn(rest, now_us)

    @property
    def _is_closing(self) -> bool:
        return self.files_done == len(self._files) > 0

    def _go_on(self) -> None:
        if self._in_content:
            self._bytes_before += self._part.done_bytes
            self.files_done += 1
            self._part = self._head(_HEAD)
        else:
            self._part = Sender(self._files[self.files_done].data, self._limits, block=self._block, part=_CONTENT)
        self._in_content = not self._in_content

    def _head(self, part: Part) -> Sender:
        content = [*self._heads, END_OF_BATCH][self.files_done]
        limits = self._limits
        if self._is_closing:  # waited for no longer than for the end of a file
            limits = replace(limits, answer_us=limits.end_us, tries=limits.ends - 1)
        return Sender(content, limits, block=len(content), part=part)

    def _end(self, ending: Ending) -> None:
        first = self.files_done == 0 and not self._in_content
        last = self.files_done >= len(self._files) - 1
        if self._is_closing and ending in (Ending.CUT, Ending.NEVER_BEGAN):
            # Every file was acknowledged, only the end of the batch was not: many a receiver takes one file and leaves.
            ending = Ending.UNKNOWN
        elif (ending is Ending.NEVER_BEGAN and not first) or (ending is Ending.UNKNOWN and not last):
            ending = Ending.CUT
        self.ending, self.rest = ending, self._part.rest


class BatchReceiver:
    """Receives files.

    A turn holds what belongs to one file at most: ``opens`` before its content, ``closes`` after it. Nothing of a file
    is kept here; ``files`` holds the heads of those that are whole.
    """

    def __init__(self, limits: ReceiverLimits | None = None, *, most_files: int = 1000) -> None:
        """Set the bounds.

        Args:
            limits: real microseconds, and the most bytes that a file may have.
            most_files: a batch of more is cancelled.
        """
        self.ending: Ending | None = None
        self.rest = b""
        self.done_bytes = 0
        self.files: list[FileHead] = []
        self._limits, self._most_files = limits or ReceiverLimits(), most_files
        self._open: FileHead | None = None
        self._part = Receiver(None, self._limits, part=_FIRST_HEAD)
        self._beyond = b""

    def turn(self, heard: bytes, now_us: int) -> Turn:
        if self.ending is not None:
            self.rest = x.kept_rest(self.rest + heard)
            return Turn()
        turn = self._part.turn(self._beyond + heard, now_us)
        self._beyond = b""
        if self._open is not None:
            self.done_bytes += sum(map(len, turn.content))
        if self._part.ending is Ending.WHOLE:
            return self._went_well(turn, now_us)
        if self._part.ending is not None:
            began = self._open is not None or self.files
            self._end(Ending.CUT if began and self._part.ending is Ending.NEVER_BEGAN else self._part.ending)

        return turn if self._open is not None else replace(turn, content=())

    def _went_well(self, turn: Turn, now_us: int) -> Turn:
        if self._open is not None:
            self.files.append(self._open)
            self._open = None
            return self._next(turn, Receiver(None, self._limits, part=_HEAD), now_us, closes=True)
        try:
            head = read_head(turn.content[0])
        except Garbled:
            return self._refuse()
        if head is None:
            self._end(Ending.WHOLE)
            return replace(turn, content=())
        if len(self.files) >= self._most_files or (head.length or 0) > self._limits.most_bytes:
            return self._refuse()
        self._open = head
        return self._next(
            replace(turn, content=()), Receiver(head.length, self._limits, part=_CONTENT), now_us, opens=head
        )

    def _next(
        self, turn: Turn, part: Receiver, now_us: int, *, opens: FileHead | None = None, closes: bool = False
    ) -> Turn:
        """Go on with the next part, which asks at once; what was heard beyond is looked at in the next turn."""
        self._beyond, self._part = self._part.rest, part
        asked = part.turn(b"", now_us)
        wake_us = now_us if self._beyond else asked.wake_us
        return Turn(turn.send + asked.send, wake_us, content=turn.content, opens=opens, closes=closes)

    def _refuse(self) -> Turn:
        self._end(Ending.CUT)
        return Turn(send=x.HANG_UP)

    def _end(self, ending: Ending) -> None:
        self.ending, self.rest = ending, self._part.rest
