"""What follows when something befalls a unit: one table, for every happening at every stage of a service.

House rules of this file:

1. What the program may do by itself, what it asks of a person, whether the unit stays connected and whether its line
   stops: all of it stands here, and steps and stations look it up.
2. Every pair of a stage and a happening has a row. What should not come up somewhere holds the unit there, with the
   caution that the stage needs.
3. Nothing that follows by itself changes a unit. A write is never repeated but under a new permit.
4. The page in the docs is drawn from this table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from benchday.domain.cautions import Moment
from benchday.domain.happenings import Happening, Stage

LOOK_AGAIN, LEAVE_HELD, AS_IT_IS, PUT_BACK = "identify anew", "leave held", "hand back as it is", "put back"
CONFIRMED, TRY_AGAIN = "certificate confirmed", "try again"
NOT_RECOVERED = "not recovered"
"""Code of a hold from which nobody here knows a way on."""
MOST_IDENTIFICATIONS = 6
"""How often a unit is identified anew in one visit before its line is taken for broken."""
MOST_LOOKS = 3
"""How often a person has a half-written unit looked at in vain before it counts as not recovered."""
MOST_IN_VAIN = 8
"""How often a written unit may start, or be looked at, without being verified before it counts as not recovered."""
PAUSE_S = 1.0
"""Before a unit is identified anew by itself, real seconds: what restarts or rejoins a network gets that time."""


class Own(StrEnum):
    """What the program does by itself; nothing of it changes the unit."""

    NOTHING = "nothing"
    ASK_AND_TRY = "has the line looked at, then tries again, as often as the step's `tries` say"
    COPY_AGAIN = "copies again, as often as the step's `tries` say"
    LOOK_ANEW = f"waits {PAUSE_S:g} s and identifies it anew, at most {MOST_IDENTIFICATIONS} times in a visit"


@dataclass(frozen=True, slots=True)
class Asked:
    """What is put before a person about a held unit."""

    topic: str
    words: str
    """With the names unit, station, reason and lifts in braces."""
    choices: tuple[str, ...] = ()
    """Empty: it is simply done."""
    connected: bool = False
    """The unit keeps its station and its cable or adapter."""
    moment: Moment | None = None
    """Whose cautions are shown."""


ASIDE = Asked("set aside", "Set unit {unit} aside from station {station}: {reason}. Lifts it: {lifts}.")
HALF_WRITTEN = Asked(
    "interrupted",
    "DO NOT SWITCH OFF unit {unit} on station {station}: {reason}.",
    (LOOK_AGAIN, LEAVE_HELD, AS_IT_IS),
    connected=True,
    moment=Moment.INTERRUPTED,
)
MAY_BE_DARK = Asked(
    "interrupted",
    "Do not press anything on unit {unit} on station {station}, and leave it connected: {reason}. Look whether it "
    "still shows power. If it does: DO NOT SWITCH OFF, and leave it powered. If it is dark: connect external power; "
    "never swap or open a pack that is hot, swollen or wet: keep away from it, and everybody else too. Then: identify "
    "anew.",
    (LOOK_AGAIN, LEAVE_HELD, AS_IT_IS),
    connected=True,
    moment=Moment.INTERRUPTED,
)
CERTIFICATE = Asked(
    "certificate",
    "Leave unit {unit} on station {station} on, and in its network: {reason}. Ask whoever looks after its network or "
    "gave it a certificate. Once they confirm that the new one is its own, with their name as the reason: it is kept "
    "instead of the old one, and the unit is identified and verified.",
    (CONFIRMED, LOOK_AGAIN, LEAVE_HELD, AS_IT_IS),
    connected=True,
)
REFUSED = Asked(
    "refused",
    "Leave unit {unit} on station {station} connected: {reason}. If it is busy, or wants it later, wait until it is "
    "done and shows nothing of it any more, then: try again. It is identified and checked anew, and the write needs a "
    "confirmation of its own.",
    (TRY_AGAIN, LEAVE_HELD),
    connected=True,
)
RESTORE = Asked(
    "settings lost",
    "Leave unit {unit} on station {station} connected: {reason}. What was saved before the write can be put back; that "
    "needs a confirmation of its own.",
    (PUT_BACK, LEAVE_HELD),
    connected=True,
)


@dataclass(frozen=True, slots=True)
class Row:
    """What follows."""

    code: str
    """Of the hold; empty where the finding's own name is the code."""
    reason: str
    """Of the hold, with {said} for what was heard or found, {stage} for where, {became} for how far the write came."""
    lifts: str
    """What lifts the hold, in words that follow "held until"; empty where the finding says it."""
    customer: str
    """What the customer is told of it."""
    own: Own = Own.NOTHING
    asked: Asked = ASIDE
    stops_line: bool = False
    """Nothing more of this model is put on this release until a person lifts that with a reason."""

    def hold_reason(self, stage: Stage, said: str, became: str) -> str:
        """Return the reason of the hold."""
        return self.reason.replace("{became}", became).replace("{stage}", stage.value).replace("{said}", said)


_STAY = "Leave the unit powered and connected; do not switch it off"
_ANEW = "an operator decides to identify it anew; a further write needs a new permit"
_LINE_TOLD = "It could not be talked to reliably over its cable or network."
_LEAVE = "Leave it connected, and press nothing on it"
_CUT_TOLD = "The write of the new release was cut short."
_BEYOND_TOLD = "The write of the new release did not come to a good end, and the unit could not be recovered here."

_LINE = Row(
    "line", "the line keeps failing in {stage} ({said})", "another cable is tried, or a person looks", _LINE_TOLD,
    Own.LOOK_ANEW,
)  # fmt: skip
_SILENT = Row(
    "silent", "the unit does not answer ({said})", "the unit answers on a known good cable", _LINE_TOLD, Own.ASK_AND_TRY
)
_BEFORE_ACT = Row("line", "the line failed before anything was written ({said})", "the line is put right", _LINE_TOLD)
_HALF = Row("interrupted", f"{{became}}: {{said}}. {_STAY}", _ANEW, _CUT_TOLD, asked=HALF_WRITTEN)
_CUT = replace(_HALF, stops_line=True)
_CUT_SILENT = replace(_CUT, reason=f"{{became}}: {{said}}. {_LEAVE}", asked=MAY_BE_DARK)
_NOT_BACK = replace(
    _CUT,
    reason=f"{{became}}, and the unit did not come back from its restart ({{said}}). {_LEAVE}",
    customer="The new release was sent to it, and it did not come back from its restart.",
    asked=MAY_BE_DARK,
)
_NOT_SEEN_BACK = replace(
    _CUT, reason=f"{{became}}; whether the unit came back from its restart is not known: {{said}}. {_STAY}",
    customer="The new release was sent to it; whether it came back from its restart was not seen.",
)  # fmt: skip
_STILL_SILENT = replace(
    _HALF,
    reason=f"{{became}}, and the unit does not answer now ({{said}}). {_LEAVE}",
    own=Own.ASK_AND_TRY,
    asked=MAY_BE_DARK,
    customer="After the write of the new release it did not answer.",
)
_UNVERIFIED = replace(
    _HALF,
    code="line",
    reason=f"{{became}}, and it cannot be verified: its line keeps failing ({{said}}). {_LEAVE}",
    own=Own.LOOK_ANEW,
    asked=MAY_BE_DARK,
    customer="The new release was sent to it, and it could not be talked to reliably afterwards.",
)
_RESTORED = replace(
    _HALF,
    reason=f"{{said}}. {_STAY}",
    customer="The records of this bench had to be put back from a copy, so that what was done to it is looked at anew.",
)
_BEYOND = Row(
    NOT_RECOVERED, f"{{said}}. {_STAY}", "it answers again, or its maker's service has put it right", _BEYOND_TOLD,
    asked=HALF_WRITTEN,
)  # fmt: skip
_SILENT_BEYOND = replace(_BEYOND, reason=f"{{said}}. {_LEAVE}", asked=MAY_BE_DARK)
_PERMIT = Row(
    "refused", "the write was not begun: {said}", "an operator looks, lifts and confirms anew", "It was not written."
)
_CERTIFICATE = Row(
    "certificate", "{said}",
    "whoever reset it or gave it a new one confirms that, and its line in the record is taken out",
    "Its own page showed another certificate than before, so that nothing was sent to it.",
)  # fmt: skip
_NEW_CERTIFICATE = replace(
    _CERTIFICATE, reason="{became}; now {said}", asked=CERTIFICATE,
    lifts="whoever looks after its network or its certificate confirms the new one by name",
    customer="The new release was sent to it; afterwards its own page showed another certificate than before.",
)  # fmt: skip
_SWAPPED = Row(
    "identity", "{said}", "the right unit is checked in, or the label is put right",
    "It gave another serial number than stands on its label, so that nothing was done to it.",
)  # fmt: skip
_FULL = Row(
    "full", "{said}; nothing was lost", "room is made on the disk",
    "The service was broken off because the bench computer's disk was full.",
)  # fmt: skip
_FINDING = Row("", "{said}", "", "A check before the write did not allow it.")
_VERIFY = Row(
    "verify", "verify failed: {said}", "a person finds out why, then lifts it",
    "After the write it was not as it should be.", stops_line=True,
)  # fmt: skip
_UNWRITTEN = replace(_VERIFY, stops_line=False, customer="It is not as it should be, although nothing was written.")
_STILL_BOOT = replace(
    _VERIFY, reason=f"verify failed: {{said}}. {_STAY}", lifts=_ANEW, asked=HALF_WRITTEN,
    customer="After the write only its boot loader answered: it holds no release that starts.",
)  # fmt: skip
_LOST = replace(_VERIFY, asked=RESTORE, customer="After the write some of its settings were not what they were before.")
_HALF_SET = Row(
    "settings", "putting the saved settings back was cut short: {said}", "its settings are compared again",
    "Not all of its settings are back.", asked=RESTORE,
)  # fmt: skip
_OWNER = Row(
    "recordings", "{said}", "it is copied, or let go",
    "A recording on it has no whole copy, so that nothing was written.", Own.COPY_AGAIN,
)  # fmt: skip
_AGAIN = replace(
    _HALF, reason=f"half written, and it cannot be written again now: {{said}}. {_STAY}",
    lifts="that is put right, or an operator decides otherwise",
)  # fmt: skip
_AGAIN_LINE = replace(_AGAIN, reason=f"half written, and its line keeps failing ({{said}}). {_STAY}", own=Own.LOOK_ANEW)
_UNEXPECTED = Row("unexpected", "{said}; that should not come up here", "a person looks", "Its service was broken off.")
_UNEXPECTED_HALF = _HALF

H, S = Happening, Stage
_LINE_TROUBLE = (H.SILENT, H.GONE, H.PORT_CLOSED, H.GARBLED, H.REFUSED, H.CUT, H.UNKNOWN, H.FAILED, H.TOO_LONG)
"""What may come of any question put to a unit."""
_READING = (S.CONNECT, S.CHECK, S.PRESERVE, S.CONFIRM, S.VERIFY, S.VERIFY_UNWRITTEN, S.LAST_LOOK)
"""Where a unit is only read, and may be read again."""
_NOTHING_SENT = (*_READING, S.IDENTIFY, S.BEFORE_ACT)
_VERIFYING = (S.VERIFY, S.VERIFY_UNWRITTEN)
_NO_RELEASE = (H.BOOT_LOADER, H.OLD_RELEASE, H.OTHER_RELEASE, H.NOT_ACCEPTED, H.OPTIONS, H.TEST_FAILED)

_RULES: tuple[tuple[tuple[Stage, ...], tuple[Happening, ...], Row], ...] = (
    # The line, where a unit is only read.
    ((S.IDENTIFY,), (H.SILENT, H.GONE, H.PORT_CLOSED, H.GARBLED, H.TOO_LONG), _SILENT),
    ((S.IDENTIFY,), (H.REFUSED, H.CUT, H.UNKNOWN, H.FAILED), _LINE),
    ((S.PRESERVE,), (H.REFUSED, H.GARBLED, H.CUT, H.COPY_BAD), _OWNER),
    ((S.PRESERVE,), (H.SILENT, H.GONE, H.PORT_CLOSED, H.UNKNOWN, H.FAILED, H.TOO_LONG), _LINE),
    ((S.CONNECT, S.CHECK, S.CONFIRM, S.VERIFY_UNWRITTEN, S.LAST_LOOK), _LINE_TROUBLE, _LINE),
    ((S.VERIFY,), _LINE_TROUBLE, _UNVERIFIED),
    ((S.LOOK_ANEW,), _LINE_TROUBLE, _STILL_SILENT),
    # The line, at and after the point of no return.
    ((S.BEFORE_ACT,), _LINE_TROUBLE, _BEFORE_ACT),
    ((S.WRITE,), tuple(h for h in _LINE_TROUBLE if h is not H.REFUSED), _CUT_SILENT),
    ((S.WRITE,), (H.PROGRAM_ENDED, H.FULL, H.CERTIFICATE, H.SWAPPED), _CUT),
    ((S.WRITE,), (H.REFUSED,), Row(
        "refused", "{said}; as far as the unit says, nothing was erased", "the reason is put right",
        "It refused the new release before anything of it was erased.", asked=REFUSED,
    )),
    ((S.WRITE,), (H.PERMIT, H.NO_PERMIT), _PERMIT),
    ((S.RESTART,), tuple(h for h in _LINE_TROUBLE if h is not H.UNKNOWN), _NOT_BACK),
    ((S.RESTART,), (H.UNKNOWN,), replace(
        _NOT_BACK, reason=f"{{became}}; {{said}}. {_LEAVE}",
        customer="How the write of the new release ended is not known.")),
    ((S.RESTART,), (H.FULL, H.NO_PERMIT, H.PERMIT, H.PROGRAM_ENDED), _NOT_SEEN_BACK),
    ((S.BEFORE_ACT, S.BEFORE_ACT_AGAIN), (H.PROGRAM_ENDED,), replace(
        _HALF, reason=f"{{said}}. {_STAY}", customer="Its service was broken off before anything was written.")),
    ((S.BEFORE_ACT,), (H.RESTORED,), _RESTORED),
    ((S.WRITE, S.RESTART), (H.RESTORED,), replace(_RESTORED, stops_line=True)),
    ((S.PUT_BACK,), (*_LINE_TROUBLE, H.PROGRAM_ENDED, H.FULL, H.PERMIT, H.CERTIFICATE), _HALF_SET),
    # Half written, and on its way to the next write: whatever keeps it from that, it stays connected.
    ((S.AGAIN,), _LINE_TROUBLE, _AGAIN_LINE),
    ((S.AGAIN,), (H.FINDING, H.VANISHED, H.DECIDED, H.NOT_COPIED, H.NO_CONSENT, H.NOT_NOW, H.SENT_OFF), _AGAIN),
    ((S.AGAIN, S.BEFORE_ACT_AGAIN), (H.FULL, H.CERTIFICATE, H.SWAPPED), _AGAIN),
    ((S.BEFORE_ACT_AGAIN,), (*_LINE_TROUBLE, H.PERMIT, H.NO_PERMIT), _AGAIN),
    # Half written, and no way on from here.
    ((S.LOOK_ANEW,), (H.NO_ANSWER,), _SILENT_BEYOND),
    ((S.LOOK_ANEW,), (H.NO_REST,), _SILENT_BEYOND),
    ((S.RESTART, S.VERIFY), (H.NO_REST,), replace(_SILENT_BEYOND, stops_line=True)),
    ((S.WRITE,), (H.BOOT_REFUSES,), replace(_BEYOND, stops_line=True)),
    ((S.VERIFY,), (H.BOOT_AGAIN,), replace(_BEYOND, stops_line=True)),
    # Who answers is not who should.
    (tuple(s for s in _NOTHING_SENT if s is not S.VERIFY), (H.CERTIFICATE,), _CERTIFICATE),
    ((S.LOOK_ANEW, S.VERIFY), (H.CERTIFICATE,), _NEW_CERTIFICATE),
    ((S.RESTART,), (H.CERTIFICATE,), replace(_NEW_CERTIFICATE, stops_line=True)),
    ((S.CONNECT, S.IDENTIFY, S.CHECK, S.PRESERVE, S.CONFIRM, S.BEFORE_ACT, S.VERIFY_UNWRITTEN, S.LAST_LOOK),
     (H.SWAPPED,), _SWAPPED),
    ((S.LOOK_ANEW,), (H.SWAPPED,), replace(_SWAPPED, asked=HALF_WRITTEN, customer=_CUT_TOLD)),
    ((S.PUT_BACK,), (H.SWAPPED,), replace(_SWAPPED, asked=RESTORE, customer=_HALF_SET.customer)),
    ((S.RESTART, S.VERIFY), (H.SWAPPED,), replace(
        _SWAPPED, reason="after the write: {said}", asked=HALF_WRITTEN, stops_line=True, customer=_CUT_TOLD)),
    ((S.IDENTIFY,), (H.OTHER_MODEL,), _FINDING),
    ((S.LOOK_ANEW,), (H.OTHER_MODEL,), replace(_FINDING, asked=HALF_WRITTEN)),
    # Before the write.
    ((S.CHECK, S.PRESERVE, S.CONFIRM), (H.FINDING, H.VANISHED), _FINDING),
    ((S.CHECK, S.PRESERVE, S.CONFIRM), (H.DECIDED,), _FINDING),
    ((S.PRESERVE,), (H.NOT_COPIED,), replace(_OWNER, own=Own.NOTHING)),
    ((S.CHECK,), (H.NO_CONSENT,), Row("consent", "{said}", "the owner agrees, and it is lifted",
                                      "It was not written, because its owner has not agreed to it.")),
    ((S.CONFIRM,), (H.NOT_NOW,), Row("not now", "{said}", "an operator lifts it", "It was not written today.")),
    ((S.BEFORE_ACT,), (H.PERMIT,), _PERMIT),
    ((S.BEFORE_ACT,), (H.NO_PERMIT,), Row("no-permit", "{said}", "an operator confirms anew", _PERMIT.customer)),
    (_VERIFYING, (H.PERMIT,), replace(_PERMIT, reason="its settings were not put back: {said}", asked=RESTORE)),
    (_NOTHING_SENT, (H.FULL,), _FULL),
    # After the write.
    ((S.VERIFY,), (H.BOOT_LOADER,), _STILL_BOOT),
    ((S.VERIFY,), tuple(h for h in _NO_RELEASE if h is not H.BOOT_LOADER), _VERIFY),
    ((S.VERIFY_UNWRITTEN,), (*_NO_RELEASE, H.BOOT_AGAIN), _UNWRITTEN),
    ((S.VERIFY,), (H.SETTINGS,), _LOST),
    ((S.VERIFY_UNWRITTEN,), (H.SETTINGS,), replace(_LOST, stops_line=False)),
)  # fmt: skip


_MAY_BE_HALF_WRITTEN = (Stage.WRITE, Stage.RESTART, Stage.LOOK_ANEW, Stage.AGAIN, Stage.BEFORE_ACT_AGAIN)


def _unexpected(stage: Stage) -> Row:
    if stage is Stage.PUT_BACK:
        return _HALF_SET
    return _UNEXPECTED_HALF if stage in _MAY_BE_HALF_WRITTEN else _UNEXPECTED


def _whole() -> Mapping[tuple[Stage, Happening], Row]:
    table: dict[tuple[Stage, Happening], Row] = {}
    for stages, happenings, row in _RULES:
        for key in ((stage, happening) for stage in stages for happening in happenings):
            if key in table:
                raise ValueError(f"{key[1].value} at {key[0].value} has two rows")
            table[key] = row
    for stage in Stage:
        for happening in Happening:
            table.setdefault((stage, happening), _unexpected(stage))
    return MappingProxyType(table)


TABLE: Mapping[tuple[Stage, Happening], Row] = _whole()
"""(stage, happening) -> what follows; total."""
FORESEEN: frozenset[tuple[Stage, Happening]] = frozenset(
    (stage, happening) for stages, happenings, _ in _RULES for stage in stages for happening in happenings
)
"""The pairs that can come up; at any other the row is the stage's careful one."""


def row_for(stage: Stage, happening: Happening) -> Row:
    """Return what follows."""
    return TABLE[stage, happening]
