"""What the customer of a held unit is told: plain sentences, computed from the unit's story alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import tzinfo

from benchday.domain.readings import Mode
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.domain.telling.figures import clock, short, size

_ENDED = {
    "begun": "began, and nobody knows yet how it ended",
    "whole": "ended whole, and was not verified",
    "refused": "was refused by the unit before anything was erased",
    "cut": "was cut short",
    "unknown": "was sent whole, but the unit did not say how it ended",
    "failed": "ended whole, but the unit was not as it should be afterwards",
    "verified": "ended whole and was verified",
}
NOT_FOR_USE = "It may hold half a release. Do not use it, and do not write it yourself."


@dataclass(frozen=True, slots=True)
class GoesBack:
    """The end of the attempts."""

    reason: str
    """Why, in the words of whoever ended them; empty while it is not decided yet."""
    operator: str


def account(story: UnitStory, zone: tzinfo, bench: str, goes_back: GoesBack | None = None) -> tuple[str, ...]:
    """Return the account of a unit that is held; nothing of any other.

    Args:
        story: of the unit.
        zone: in which times are told.
        bench: whose people can be asked.
        goes_back: as if the attempts ended so; else as the story has it.
    """
    if story.state is not State.HELD:
        return ()
    told = story.given_up
    if goes_back is None and told is not None:
        goes_back = GoesBack(told["reason"], told["operator"] or "")
    return (
        f"Done: {_done(story, zone)}.",
        f"State: {_state(story, zone)}",
        f"Preserved: {'; '.join(_preserved(story, zone))}.",
        f"Not lost: {'; '.join(_not_lost(story))}.",
        *_lost(story),
        f"Next: {_next(story, goes_back)}",
        f"Ask: {_whom(goes_back)} bench {bench}, naming unit {story.serial}.",
    )


def _done(story: UnitStory, zone: tzinfo) -> str:
    writes = [
        f"at {clock(a['at_us'], zone)} the write of {a['release'] or 'a release'} {_ENDED.get(a['ended'], a['ended'])}"
        for a in story.attempts
    ]
    return "; ".join(writes) or "nothing was written to it today"


def _state(story: UnitStory, zone: tzinfo) -> str:
    told = str((story.trouble or {}).get("customer") or f"It is held: {story.held_reason}.")
    if story.heard_us is None:
        return f"{told} It has not said who it is today."
    runs = "only its boot loader answered" if story.last_mode == Mode.BOOT else f"it ran {story.has or 'no release'}"
    half = f" {NOT_FOR_USE}" if story.half_written else ""
    return f"{told} When it last answered, at {clock(story.heard_us, zone)}, {runs}.{half}"


def _preserved(story: UnitStory, zone: tzinfo) -> Iterator[str]:
    for name, kept in story.preserved.items():
        yield f"{name} ({size(kept['bytes'])}), in this bench's archive under SHA-256 {short(kept['sha256'])}"
    if story.settings_before is not None and story.settings_saved_us is not None:
        count, at = len(story.settings_before), clock(story.settings_saved_us, zone)
        yield f"its {count} settings as they were at {at}, in this bench's record"
    if not story.preserved and story.settings_before is None:
        yield "nothing, for it was not looked at so far"


def _not_lost(story: UnitStory) -> Iterator[str]:
    began = any(a["ended"] != "refused" for a in story.attempts)
    if not began:
        yield "everything that was on it: nothing of it was erased by us"
        return
    if story.preserved:
        yield f"the {len(story.preserved)} recordings that were copied; they can be handed over from here"
    if story.settings_before is not None:
        yield "the settings; they can be put back once it runs"
    if story.options_before:
        yield f"the list of its options ({', '.join(story.options_before)})"
    if story.term_before:
        yield f"its support term, until {story.term_before}, as it told it"
    if not (story.preserved or story.settings_before or story.options_before or story.term_before):
        yield "it held no recordings that we know of"


def _lost(story: UnitStory) -> tuple[str, ...]:
    gone = [f"{name} ({size(g['bytes'])})" for name, g in story.let_go.items()]
    return (f"Lost, as its owner decided: {', '.join(gone)}.",) if gone and story.attempts else ()


def _next(story: UnitStory, goes_back: GoesBack | None) -> str:
    if goes_back is not None:
        why = f" ({goes_back.reason})" if goes_back.reason else ""
        return f"it goes back as it is{why}; its maker's service can look at it."
    return f"it stays here until {story.held_lifts or 'a person decides'}."


def _whom(goes_back: GoesBack | None) -> str:
    return f"{goes_back.operator} at" if goes_back is not None and goes_back.operator else "whoever minds"
