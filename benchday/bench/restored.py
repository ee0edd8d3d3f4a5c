"""What is written into a record that a copy has taken the place of, before anybody works with it.

An instrument may know more than the copy: it may have been written since, or be half written. So whatever stood on a
station when the copy was made is held as interrupted, and so is what a lost entry says was being written.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from benchday.bench.holds import Hold, Met
from benchday.domain.entries import Draft
from benchday.domain.fold import DayState
from benchday.domain.happenings import Happening, Stage
from benchday.domain.kinds import PermitVoided, RecordRestored
from benchday.domain.steps import ON_STATION, State
from benchday.domain.story import UnitStory

WHY = "the record was restored from a copy"
_STAGES = {State.WRITE: Stage.WRITE, State.RESTART: Stage.RESTART}
"""Where the copy itself says that a write had begun; elsewhere it may have begun since, and no line is stopped."""


def drafts_of_restoring(state: DayState, restored: RecordRestored, spent: Collection[str]) -> list[Draft]:
    """Return the entries that say what the restored record may not know.

    Args:
        state: the day's as the copy has it.
        restored: what was restored.
        spent: units of which a lost entry says that an act was spent.
    """
    drafts = [restored.draft()]
    for story in state.units.values():
        written = story.serial in spent and story.state not in (State.HANDED_BACK, State.HELD)
        if story.state in ON_STATION or written:
            drafts += _held(story, written=written)
    return drafts


def _held(story: UnitStory, *, written: bool) -> Iterator[Draft]:
    act = story.open_act or story.sent
    if act is not None:
        yield PermitVoided(id=act.permit, reason=WHY).draft(unit=story.serial, station=story.station)
    since = "a lost entry says that it was written since" if written else "it may have been written since"
    said = f"{WHY}, which may know less than the unit does; {since}, or be half written"
    stage = _STAGES.get(story.state, Stage.BEFORE_ACT)
    yield from Hold(Met(Happening.RESTORED, said), stage).drafts(story, story.station)
