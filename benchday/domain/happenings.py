"""What can befall a unit while it is served, and where: two closed lists, and how an error or a reading is one of them.

What follows from a happening at a stage stands in one table (``recovery.py``); nothing else decides it.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from benchday.domain.errors import (
    AnotherUnit,
    BenchdayError,
    CertificateChanged,
    DeviceError,
    Garbled,
    LinkBusy,
    LinkError,
    LinkForbidden,
    LinkSilent,
    OutcomeUnknown,
    PermitRefused,
    RecordDamaged,
    RecordFull,
    Refused,
    TookTooLong,
    TransferCut,
)
from benchday.domain.playbook import StepName
from benchday.domain.readings import Identity, Mode


class Stage(StrEnum):
    """Where in its service a unit is when something befalls it; finer than a step where that matters for safety."""

    CONNECT = "connect"
    IDENTIFY = "identify"
    LOOK_ANEW = "identify, half written"
    """A write began on this unit, and what became of it is not settled well."""
    CHECK = "check"
    PRESERVE = "preserve"
    CONFIRM = "confirm"
    AGAIN = "check to confirm, half written"
    """A half-written unit on its way to the next write, or to the verify of what is in."""
    BEFORE_ACT = "write, before its act"
    """Confirmed; nothing has been sent."""
    BEFORE_ACT_AGAIN = "write, before its act, half written"
    """The same, of a unit that a write before this one left half written."""
    WRITE = "write"
    """The act is spent: from here the unit may be half written."""
    RESTART = "restart"
    VERIFY = "verify"
    """Of a unit that was written."""
    VERIFY_UNWRITTEN = "verify, nothing written"
    """Of a unit that was on its target already."""
    PUT_BACK = "put settings back"
    """The act is spent: some of the saved settings may be in, others not."""
    LAST_LOOK = "last look"


_STAGES: Mapping[StepName, Stage] = {
    StepName.CONNECT: Stage.CONNECT,
    StepName.IDENTIFY: Stage.IDENTIFY,
    StepName.CHECK: Stage.CHECK,
    StepName.PRESERVE: Stage.PRESERVE,
    StepName.CONFIRM: Stage.CONFIRM,
    StepName.WRITE: Stage.BEFORE_ACT,
    StepName.RESTART: Stage.RESTART,
    StepName.VERIFY: Stage.VERIFY_UNWRITTEN,
    StepName.LAST_LOOK: Stage.LAST_LOOK,
}


_HALF_WRITTEN: Mapping[StepName, Stage] = {
    StepName.IDENTIFY: Stage.LOOK_ANEW,
    StepName.CHECK: Stage.AGAIN,
    StepName.PRESERVE: Stage.AGAIN,
    StepName.CONFIRM: Stage.AGAIN,
    StepName.WRITE: Stage.BEFORE_ACT_AGAIN,
}
"""The stages of a unit that may be half written, where they are others."""


def stage_of(step: StepName, *, half_written: bool, sent: bool) -> Stage:
    """Return the stage of a step.

    Args:
        step: that is under way; a write whose act is spent says so itself (``Stage.WRITE``).
        half_written: a write began on the unit and what became of it is not settled well.
        sent: an image was sent and is not verified yet.
    """
    if half_written and step in _HALF_WRITTEN:
        return _HALF_WRITTEN[step]
    if step is StepName.VERIFY and sent:
        return Stage.VERIFY
    return _STAGES[step]


class Happening(StrEnum):
    """What can happen."""

    SILENT = "silent"
    GONE = "line gone"
    PORT_CLOSED = "port closed"
    CERTIFICATE = "certificate changed"
    GARBLED = "garbled"
    REFUSED = "refused"
    CUT = "transfer cut"
    UNKNOWN = "outcome unknown"
    FAILED = "driver failed"
    TOO_LONG = "took too long"
    PERMIT = "permit refused"
    NO_PERMIT = "no permit"
    FULL = "disk full"
    COPY_BAD = "copy not whole"
    PROGRAM_ENDED = "program ended"
    SWAPPED = "another serial"
    OTHER_MODEL = "another model"
    VANISHED = "recordings gone"
    NOT_COPIED = "recording not copied"
    FINDING = "finding stops"
    NO_CONSENT = "no consent"
    SENT_OFF = "to be sent off"
    NOT_NOW = "not confirmed"
    DECIDED = "decided to hold"
    OLD_RELEASE = "old release"
    OTHER_RELEASE = "another release"
    BOOT_LOADER = "boot loader only"
    SETTINGS = "settings lost"
    OPTIONS = "options or term lost"
    NOT_ACCEPTED = "change not accepted"
    TEST_FAILED = "self-test failed"
    NO_ANSWER = "no answer after all"
    NO_REST = "starts again and again"
    RESTORED = "record restored"
    BOOT_AGAIN = "boot loader again"
    BOOT_REFUSES = "boot loader refuses"


MEANS: Mapping[Happening, str] = {
    Happening.SILENT: "nothing came within the time limit",
    Happening.GONE: "the line was there and has vanished: cable or drive out, unit off, network lost",
    Happening.PORT_CLOSED: "the port or page is closed to us: somebody else has it, or this user may not",
    Happening.CERTIFICATE: "the unit's page shows another certificate than before",
    Happening.GARBLED: "something came, but no answer that can be read",
    Happening.REFUSED: "the unit understood and said no",
    Happening.CUT: "a transfer ended before its end",
    Happening.UNKNOWN: "everything was sent, the last acknowledgement is missing",
    Happening.FAILED: "the driver failed",
    Happening.TOO_LONG: "a call lasted longer than its limit",
    Happening.PERMIT: "the permit does not allow it any more",
    Happening.NO_PERMIT: "there is no permit or act for it",
    Happening.FULL: "no room on the disk of the bench PC",
    Happening.COPY_BAD: "a copy read back from the archive is not what was written",
    Happening.PROGRAM_ENDED: "benchday ended, or was killed, meanwhile",
    Happening.SWAPPED: "the unit says another serial than was checked in",
    Happening.OTHER_MODEL: "the unit says another model than was checked in",
    Happening.VANISHED: "recordings that were listed before are not on the unit any more, and were not copied",
    Happening.NOT_COPIED: "a recording cannot be copied whole",
    Happening.FINDING: "a check stops",
    Happening.NO_CONSENT: "the owner has not agreed",
    Happening.SENT_OFF: "it would leave its station: closing is too near, it must be charged, its set waits",
    Happening.NOT_NOW: "the operator did not confirm",
    Happening.DECIDED: "a person decided to hold it",
    Happening.OLD_RELEASE: "after the write it runs the release it had before",
    Happening.OTHER_RELEASE: "it runs another release than it should",
    Happening.BOOT_LOADER: "after the write only its boot loader answers",
    Happening.SETTINGS: "settings are not what they were before the write",
    Happening.OPTIONS: "installed options or the support term are not what they were",
    Happening.NOT_ACCEPTED: "a person did not accept a change",
    Happening.TEST_FAILED: "its own test failed",
    Happening.NO_ANSWER: "half written, and silent however often a person had it looked at",
    Happening.NO_REST: "written, and never up for long enough to be verified, however often it was looked at",
    Happening.RESTORED: "the record was put back from a copy, which may know less than the unit does",
    Happening.BOOT_AGAIN: "a second whole image, and still only its boot loader answers",
    Happening.BOOT_REFUSES: "its boot loader refuses the image",
}
"""Happening -> one line for a technician."""

_ERRORS: tuple[tuple[type[BenchdayError], Happening], ...] = (
    (CertificateChanged, Happening.CERTIFICATE),
    (LinkForbidden, Happening.PORT_CLOSED),
    (LinkBusy, Happening.PORT_CLOSED),
    (AnotherUnit, Happening.SWAPPED),
    (LinkSilent, Happening.SILENT),
    (LinkError, Happening.GONE),
    (Garbled, Happening.GARBLED),
    (Refused, Happening.REFUSED),
    (TransferCut, Happening.CUT),
    (OutcomeUnknown, Happening.UNKNOWN),
    (TookTooLong, Happening.TOO_LONG),
    (DeviceError, Happening.FAILED),
    (PermitRefused, Happening.PERMIT),
    (RecordFull, Happening.FULL),
    (RecordDamaged, Happening.COPY_BAD),
)
"""First match counts, so that the more special stand before what they are special cases of."""

TROUBLES = (DeviceError, PermitRefused, RecordFull)
"""What a step may raise and a station goes on after. Other errors of the record end the day."""


def of_error(error: BenchdayError) -> Happening:
    """Return what an error is.

    Raises:
        ValueError: it is none that befalls a unit.
    """
    for kind, happening in _ERRORS:
        if isinstance(error, kind):
            return happening
    raise ValueError(f"{type(error).__name__} befalls no unit")


WRITTEN, UNTOUCHED, BROKEN, OTHER = "written", "untouched", "broken", "other"


def read_back(found: Identity, sent: str | None, before: str | None) -> str:
    """Return what became of a write that was cut short, as the unit shows it now.

    Args:
        found: what the unit says.
        sent: the release that was being written; None if that is not known.
        before: the release that it ran before, if that is known.
    """
    if found.mode is Mode.BOOT:
        return BROKEN
    if sent is not None and found.release == sent:
        return WRITTEN
    return UNTOUCHED if before is None or found.release == before else OTHER


def of_release(found: Identity, wanted: str | None, before: str | None, *, boots_failed: int) -> Happening | None:
    """Return what is wrong with the release that a unit runs when it is verified; None if nothing is.

    Args:
        found: what the unit says.
        wanted: the release it should run; None if any will do.
        before: the release that it ran before the write, if that is known.
        boots_failed: how many whole images of today have left it in its boot loader already.
    """
    if found.mode is Mode.BOOT:
        return Happening.BOOT_AGAIN if boots_failed else Happening.BOOT_LOADER
    if wanted is None or found.release == wanted:
        return None
    return Happening.OLD_RELEASE if found.release == before else Happening.OTHER_RELEASE
