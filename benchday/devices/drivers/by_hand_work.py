"""Questions as a playbook wants them asked: its own instruction, patterns, ranges and a photo. Pure, no I/O."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from benchday.devices.drivers.by_hand_questions import DARK, Answer, Question
from benchday.domain.by_hand import Evidence, HandCapability, HandWork, Photo
from benchday.domain.items import Wanted, WantedKind

PHOTO, SERIAL = "photo", "serial"
_NAMES_WHAT_IS_PERMITTED = frozenset({HandCapability.WRITE, HandCapability.PUT_SETTINGS, HandCapability.RESTART})
"""Their own text says which release or which values: the playbook's follows it instead of taking its place."""
_NEVER_LEFT_OUT = frozenset({"serial", "model", "count"})


def as_wanted(question: Question, work: Mapping[HandCapability, HandWork], *, photo: bool = True) -> Question:
    """Return a question as the playbook wants it asked; as it is where the playbook is silent.

    Args:
        question: as it is asked of any unit.
        work: the playbook's section.
        photo: the moment at which a photo is of use, if one is wanted.
    """
    capability = HandCapability(question.capability)
    its = work.get(capability)
    if its is None:
        return question
    text = question.text
    if its.text is not None:
        text = f"{text} {its.text}" if capability in _NAMES_WHAT_IS_PERMITTED else its.text
        text += f" {DARK}" if capability is HandCapability.IDENTIFY else ""
    wanted = tuple(_formed(w, its.wanted[w.name]) if w.name in its.wanted else w for w in question.wanted)
    if photo and its.photo is not Photo.NONE:
        wanted += (_photo(its.photo),)
    return replace(question, text=text, wanted=wanted)


def _formed(wanted: Wanted, evidence: Evidence) -> Wanted:
    required = wanted.required if evidence.needed is None else evidence.needed
    return replace(
        wanted,
        # A serial is told as it is shown, whatever its form: the unit may be another than it should.
        pattern=wanted.pattern if wanted.name == SERIAL else evidence.pattern or wanted.pattern,
        lowest=wanted.lowest if evidence.lowest is None else evidence.lowest,
        highest=wanted.highest if evidence.highest is None else evidence.highest,
        required=required or wanted.name in _NEVER_LEFT_OUT,
    )


def _photo(photo: Photo) -> Wanted:
    label = "Path of a photo of it on the bench PC"
    return Wanted(PHOTO, label, WantedKind.FILE, required=photo is Photo.NEEDED)


def serial_problem(answer: Answer, unit: str, work: Mapping[HandCapability, HandWork]) -> str | None:
    """Say that the serial typed is not the one checked in; where nobody knows which was, that its form is another."""
    typed = answer[SERIAL]
    if typed == unit:
        return None
    if not unit:
        its = work.get(HandCapability.IDENTIFY)
        pattern = its.wanted[SERIAL].pattern if its is not None and SERIAL in its.wanted else None
        if pattern is None or re.fullmatch(pattern, str(typed)) is not None:
            return None
        return f"Serial: {typed!r} is not in the expected form. Read it off this unit again, character by character"
    return f"Serial: {typed!r} was typed, {unit!r} was checked in. Read it off this unit again, character by character"


def pack_problem(answer: Answer, packs: Mapping[str, int]) -> str | None:
    """Say that no charged pack of the shop that fits has the number typed; None if one has."""
    number = answer["pack"]
    if not number or number in packs:
        return None
    return f"Pack: the bench has no charged pack {number} for this model; it has {', '.join(packs) or 'none'}"
