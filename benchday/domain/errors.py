"""Everything that benchday raises.

BenchdayError
├── InputError                 what a person wrote or typed
│   └── MistakesFound          files of a day, all mistakes at once
├── DeviceError                between us and a unit
│   ├── LinkError
│   │   ├── LinkNotFound       no such port or address
│   │   ├── LinkForbidden      it is there, we may not open it
│   │   │   └── CertificateChanged  its page shows another certificate than before
│   │   ├── LinkBusy           somebody else has it open
│   │   ├── LinkSilent         nothing came within the time limit
│   │   └── LinkGone           it was there and has vanished
│   │       └── AnotherUnit    another unit answers where this one was
│   ├── Garbled                something came, but no answer that can be read
│   │   └── RecordingsMissing  more were counted on a unit than could be copied off it
│   ├── Refused                the unit understood and said no
│   ├── TookTooLong            a call lasted longer than its limit
│   ├── TransferCut            a transfer ended before its end; the unit may be half written
│   └── OutcomeUnknown         all bytes left, the last acknowledgement is missing: read the unit back
├── RecordError
│   ├── RecordHeld             another program writes this record
│   ├── RecordFull             no room left on the disk
│   ├── RecordDamaged          database or archive do not hold what they should
│   └── AlreadyRecorded        a name that can be claimed once was claimed before
├── PermitRefused              a permit does not allow this act on this unit now
└── OurFault                   a bug of ours
    ├── IllegalMove            a unit cannot go from this state by this move
    └── UnknownKind            an entry of a kind that this program does not know
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from benchday.domain.clean import clean

LONGEST_WORDS = 2_000
"""Characters of what is told of a trouble with a unit: the unit itself may have had a say in it."""


def bounded(text: str, most: int = LONGEST_WORDS) -> str:
    """Return a text safe to show and cut to so many characters; no more of it than that is looked at."""
    return clean(text[:most])[:most]


class BenchdayError(Exception):
    """Base of every error that benchday raises on purpose; its text is meant for the person at the bench."""


class InputError(BenchdayError):
    """A person wrote or typed something that cannot be used."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake in a file that a person edits."""

    file: str
    """Path as the person knows it, relative to the day's folder where possible."""
    line: int
    """Line, counted from 1; 0 where the whole file is meant."""
    column: int
    """Column, counted from 1; 0 where the whole line is meant."""
    expected: str
    """What should stand there."""
    found: str
    """What stands there."""
    nearest: str | None = None
    """The nearest right word, where one is near."""

    def __str__(self) -> str:
        hint = f" (did you mean {self.nearest}?)" if self.nearest else ""
        return f"{self.file}:{self.line}:{self.column}: expected {self.expected}, found {self.found}{hint}"


class MistakesFound(InputError):
    """The files of a day hold mistakes; all of them are listed."""

    def __init__(self, mistakes: tuple[Mistake, ...]) -> None:
        self.mistakes = mistakes
        super().__init__("\n".join(str(m) for m in mistakes))


class DeviceError(BenchdayError):
    """Something between us and a unit did not go as it should.

    The text may quote the unit, and ends up in entries, on screens and in logs: it is made safe to show, and is not
    endless.
    """

    def __init__(self, text: str = "") -> None:
        super().__init__(bounded(text))


class LinkError(DeviceError):
    """The line to a unit failed."""


class LinkNotFound(LinkError):
    """There is no such port or address."""


class LinkForbidden(LinkError):
    """The port is there, but this user may not open it."""


class CertificateChanged(LinkForbidden):
    """The page of a unit shows another certificate than the one that was seen first."""

    def __init__(self, text: str, now: str, before: str) -> None:
        self.now, self.before = now, before
        super().__init__(f"{text} (SHA-256 now {now}, before {before})")


class LinkBusy(LinkError):
    """Another program has the port open."""


class LinkSilent(LinkError):
    """Nothing came within the time limit."""


class LinkGone(LinkError):
    """The line was there and has vanished: cable out, unit off, network lost."""


class AnotherUnit(LinkGone):
    """Where a unit was, another one answers."""


class Garbled(DeviceError):
    """Something came, but no answer that can be read."""


class RecordingsMissing(Garbled):
    """More recordings were counted on a unit than could be copied off it."""

    def __init__(self, counted: int, copied: tuple[Any, ...]) -> None:
        """Say how many were counted, and what was copied (``Recording``)."""
        self.missing, self.copied = counted - len(copied), copied
        super().__init__(f"the unit listed {counted} recordings, {len(copied)} could be copied off it")


class Refused(DeviceError):
    """The unit understood the request and said no."""

    def __init__(self, request: str, code: str, words: str = "") -> None:
        self.request, self.code, self.words = bounded(request), bounded(code, 200), bounded(words)
        super().__init__(f"the unit refused {self.request}: {self.code}" + (f" ({self.words})" if words else ""))


class TookTooLong(DeviceError):
    """A call to a unit lasted longer than its limit and was given up."""

    def __init__(self, what: str, waited_s: float) -> None:
        self.what, self.waited_s = what, waited_s
        super().__init__(f"waited {waited_s:g} s for {what}, which has not come")


class TransferCut(DeviceError):
    """A transfer ended before its end."""

    def __init__(self, text: str, sent_bytes: int) -> None:
        self.sent_bytes = sent_bytes
        super().__init__(text)


class OutcomeUnknown(DeviceError):
    """All bytes left, but the last acknowledgement is missing; only reading the unit back can tell."""


class RecordError(BenchdayError):
    """The record cannot be used as asked."""


class RecordHeld(RecordError):
    """Another program has this record open for writing."""


class RecordFull(RecordError):
    """There is no room left where the record or the archive is kept."""


class RecordDamaged(RecordError):
    """The database or the archive does not hold what it should."""


class AlreadyRecorded(RecordError):
    """A name that can be claimed only once has been claimed before."""

    def __init__(self, name: str, seq: int) -> None:
        self.name, self.seq = name, seq
        super().__init__(f"{name} was recorded before, in entry {seq}")


class PermitRefused(BenchdayError):
    """A permit does not allow this act on this unit now."""


class OurFault(BenchdayError):
    """A bug in benchday."""


class IllegalMove(OurFault):
    """A unit cannot go from its state by this move; nothing was changed."""


class UnknownKind(OurFault):
    """An entry is of a kind, or a version of it, that this program does not know."""
