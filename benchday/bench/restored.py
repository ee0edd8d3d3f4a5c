"""What is written into a record that a copy has taken the place of, before anybody works with it.

An instrument may know more than the copy: it may have been written since, or be half written. So whatever stood on a
station when the copy was made is held as interrupted, and so is what a lost entry says was being written.
"""

from __future__ import annotations

from collections.abc import Collection

from benchday.bench.holds import INTERRUPTED
from benchday.domain.entries import Draft
from benchday.domain.fold import DayState
from benchday.domain.kinds import LineStopped, PermitVoided, RecordRestored, UnitHeld
from benchday.domain.steps import ON_STATION, State
from benchday.domain.story import UnitStory

WHY = "the record was restored from a copy"


def drafts_of_restoring(state: DayState, restored: RecordRestored, spent: Collection[str]) -> list[Draft]:
    """Return the entries that say what the restored record may not know.

    Args:
        state: the day's as the copy has it.
        restored: what was restored.
        spent: units of which a lost entry says that an act was spent.
    """
    drafts = [restored.draft()]
    for story in state.units.values():
        if story.state in ON_STATION or (story.serial in spent and story.state is not State.HANDED_BACK):
            drafts += _held(story, written=story.serial in spent)
    return drafts


def _held(story: UnitStory, *, written: bool) -> list[Draft]:
    knows = "a lost entry says that it was written since" if written else "it may have been written since"
    facts = UnitHeld(
        code=INTERRUPTED,
        reason=f"{WHY} and may know less than the unit does: {knows}, or be half written. Leave the unit powered and "
        "connected; do not switch it off",
        lifts="an operator decides to identify it anew; a further write needs a new permit",
    )
    drafts = [facts.draft(unit=story.serial, station=story.station)]
    act = story.open_act or story.sent
    if act is not None:
        void = PermitVoided(id=act.permit, reason=WHY)
        stop = LineStopped(
            model=story.model,
            release=act.release or "",
            reason=f"unit {story.serial} was being written when the copy was made that the record was restored from",
        )
        drafts += [facts.draft(unit=story.serial, station=story.station) for facts in (void, stop)]
    return drafts
