"""What a unit says, held to what can be written into an entry, whichever driver read it.

An entry holds whole numbers below 2^53 and text that is Unicode (RFC 8785, sections 3.2.2.2 and 3.2.2.3: JSON numbers
are doubles, lone surrogates are no text). A unit that says more than that, or says it without end, has said nothing
that can be read. The other bounds are ours (common practice, no source), far above what an instrument has to say.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TypeVar

from benchday.domain.clean import clean
from benchday.domain.errors import Garbled
from benchday.domain.readings import Identity, PowerReading, Proof, Recording, SelfTest, Settings, Sky
from benchday.domain.words import is_date

MOST_WHOLE = 2**53 - 1
LONGEST_WORD = 200
"""Characters of who it is: serial, model, revision, release, an option."""
LONGEST_NAME = 255
"""Characters of a recording's or setting's name."""
LONGEST_TEXT = 10_000
"""Characters of a setting's value, or of the unit's own words."""
MOST_LISTED = 10_000
"""Recordings, settings or options of one unit."""
MOST_TOGETHER = 1_000_000
"""Characters of all settings together."""
_SHOWN = 60

NO_TERM = "what the unit says as its support term"
"""How the remark begins that it is no date."""

_Told = TypeVar("_Told")


def recordable(told: _Told) -> _Told:
    """Return a reading, or a list of recordings, as it is.

    Raises:
        Garbled: no entry could hold it; says what.
    """
    match told:
        case Identity():
            _identity(told)
        case PowerReading():
            _power(told)
        case Settings():
            _settings(told)
        case SelfTest():
            _text(told.words, "the words of the self-test", LONGEST_TEXT)
        case Sky():
            _sky(told)
        case Proof():
            if len(told.mac) != 64 or not told.mac.isascii():
                raise Garbled("the unit's proof is no HMAC-SHA256 of 64 hexadecimal digits")
        case Recording():
            _recordings((told,))
        case tuple():
            _recordings(told)
    return told


def usable(told: _Told) -> _Told:
    """Return a reading that is recordable, and whose support term is a date (ISO 8601) or is not told.

    Dates are compared as they are written, so that anything else would be taken for some day; a term in other words is
    left out, with a remark, and then a person or a list says it.

    Raises:
        Garbled: no entry could hold it.
    """
    recordable(told)
    if not isinstance(told, Identity) or told.term is None or is_date(told.term):
        return told
    remark = f"{NO_TERM} ({clean(told.term)[:_SHOWN]}) is no date, and counts as not told"
    return replace(told, term=None, remarks=(*told.remarks, remark))


def _identity(told: Identity) -> None:
    _listed(len(told.options), "options")
    named = (("serial", told.serial), ("model", told.model), ("hardware revision", told.hardware))
    for name, text in (*named, ("release", told.release), ("support term", told.term)):
        _text(text, f"the {name}", LONGEST_WORD)
    for option in told.options:
        _text(option, "an option", LONGEST_WORD)


def _power(told: PowerReading) -> None:
    figures = (told.charge_percent, told.max_error_percent, told.full_mwh, told.temperature_dk)
    for figure in (*figures, told.voltage_mv, told.current_ma):
        _whole(figure, "a figure of the battery")


def _recordings(told: Iterable[object]) -> None:
    names: set[str] = set()
    for recording in told:
        if not isinstance(recording, Recording):
            continue
        _text(recording.name, "a recording's name", LONGEST_NAME)
        _whole(recording.bytes, f"the size of {recording.name[:_SHOWN]!r}", least=0)
        _text(recording.sha256, f"the digest of {recording.name[:_SHOWN]!r}", 64)
        # A copy of one would pass for a copy of the other, which a write would then erase.
        if recording.name in names:
            raise Garbled(f"the unit lists two recordings of the name {recording.name[:_SHOWN]!r}")
        names.add(recording.name)
        _listed(len(names), "recordings")


def _settings(told: Settings) -> None:
    _listed(len(told.values), "settings")
    together = 0
    for name, value in told.values.items():
        _text(name, "a setting's name", LONGEST_NAME)
        _text(value, f"the setting {name[:_SHOWN]!r}", LONGEST_TEXT)
        together += len(name) + len(value)
    if together > MOST_TOGETHER:
        raise Garbled(f"the unit's settings hold {together} characters together; at most {MOST_TOGETHER} are believed")


def _sky(told: Sky) -> None:
    _text(told.base, "the base that it hears", LONGEST_WORD)
    figures = (told.satellites, told.latitude_e7, told.longitude_e7, told.hdop_centi, told.deviation_mm)
    for figure in (*figures, told.height_mm, told.vdop_centi, told.height_deviation_mm):
        _whole(figure, "a figure of the sky")


def _listed(count: int, what: str) -> None:
    if count > MOST_LISTED:
        raise Garbled(f"the unit lists more than {MOST_LISTED} {what}, which is not believed")


def _text(text: str | None, what: str, longest: int) -> None:
    if text is None:
        return
    if len(text) > longest:
        raise Garbled(f"what the unit says as {what} has {len(text)} characters; at most {longest} are believed")
    if any("\ud800" <= c <= "\udfff" for c in text):
        raise Garbled(f"what the unit says as {what} is no text: {text[:_SHOWN]!a}")


def _whole(figure: int | None, what: str, least: int = -MOST_WHOLE) -> None:
    if figure is not None and not least <= figure <= MOST_WHOLE:
        raise Garbled(f"what the unit says as {what} cannot be right: it is beyond every number that can be kept")
