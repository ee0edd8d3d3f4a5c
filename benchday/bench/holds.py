"""Why a step ends otherwise than done: something befell the unit, or it is sent off.

What befell it becomes a hold, or another look, by the table in ``benchday.domain.recovery`` alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from benchday.domain.checks import Finding
from benchday.domain.entries import Draft
from benchday.domain.errors import BenchdayError
from benchday.domain.happenings import Happening, Stage
from benchday.domain.kinds import LineStopped, TroubleMet, UnitHeld
from benchday.domain.recovery import MOST_IN_VAIN, Row, row_for
from benchday.domain.story import UnitStory

LOOKED_AT_ANEW, HELD = "looked at anew", "held"


class Met(BenchdayError):
    """Something befell the unit; the table says what follows."""

    def __init__(
        self,
        happening: Happening,
        said: str,
        *,
        stage: Stage | None = None,
        code: str = "",
        lifts: str = "",
        line_told: bool = False,
    ) -> None:
        """Say what happened.

        Args:
            happening: what it is.
            said: what was heard or found, for the hold's reason.
            stage: where, if the step alone does not say it.
            code: of the hold, where the table leaves it to the finding.
            lifts: what lifts the hold, where the finding knows better than the table.
            line_told: that the line stops is recorded already, together with what stopped it.
        """
        self.happening, self.said, self.stage = happening, said, stage
        self.code, self.lifts, self.line_told = code, lifts, line_told
        super().__init__(said)


class SendOff(BenchdayError):
    """The unit leaves its station and waits again, or is not served any more today."""

    def __init__(self, why: str, *, charge_percent: int | None = None, for_today: bool = False) -> None:
        self.why, self.charge_percent, self.for_today = why, charge_percent, for_today
        super().__init__(why)


@dataclass(frozen=True, slots=True)
class Hold:
    """A unit is to be set aside."""

    met: Met
    stage: Stage

    @property
    def row(self) -> Row:
        """What the table says."""
        return row_for(self.stage, self.met.happening)

    def drafts(self, story: UnitStory, station: str | None) -> Iterator[Draft]:
        """Yield the entries: what befell it, that its line stops if it does, and the hold."""
        row, met = self.row, self.met
        about = {"unit": story.serial, "station": station}
        yield trouble(self.stage, met, HELD).draft(**about)
        act = story.open_act or story.sent
        if row.stops_line and not met.line_told and act is not None:
            yield line_stop(story, act.release, self.stage, met.said).draft(**about)
        reason = row.hold_reason(self.stage, met.said, story.became)
        facts = UnitHeld(code=met.code or row.code, reason=reason, lifts=met.lifts or row.lifts)
        yield facts.draft(**about)


_NO_REST = frozenset({Stage.LOOK_ANEW, Stage.RESTART, Stage.VERIFY})
_NO_VERIFY = frozenset(
    {Happening.SILENT, Happening.GONE, Happening.PORT_CLOSED, Happening.GARBLED, Happening.FAILED, Happening.TOO_LONG}
)


def without_rest(story: UnitStory, stage: Stage, met: Met) -> Met:
    """Return what befell a unit; of one that has been looked at in vain for long enough, that it finds no rest."""
    times = story.in_vain + 1
    if stage not in _NO_REST or met.happening not in _NO_VERIFY or times < MOST_IN_VAIN:
        return met
    said = (
        f"{story.became}; since then it was looked at {times} times, and each time it fell silent or started again "
        f"before it could be verified ({met.said})"
    )
    return Met(Happening.NO_REST, said, stage=stage)


def trouble(stage: Stage, met: Met, follows: str) -> TroubleMet:
    """Make the facts of what befell a unit."""
    return TroubleMet(
        stage=stage.value,
        happening=met.happening.value,
        said=met.said,
        follows=follows,
        customer=row_for(stage, met.happening).customer,
    )


def line_stop(story: UnitStory, release: str | None, stage: Stage, said: str) -> LineStopped:
    """Make the facts of a line that stops because of a unit."""
    if stage is Stage.VERIFY:
        reason = f"verify failed on unit {story.serial}: {said}"
    elif stage is Stage.RESTART:
        reason = f"unit {story.serial} did not come back from its restart as it should: {story.became}"
    else:
        reason = f"the write of unit {story.serial} was cut short"
    return LineStopped(model=story.model, release=release or "", reason=reason)


def lifts_of(findings: Iterable[Finding]) -> str:
    """Join what would clear each finding, in words that follow "held until"."""
    return ", and ".join(dict.fromkeys(f.clears for f in findings if f.clears)) or "a person decides anew"


def stopped_by(findings: Iterable[Finding], said: str = "") -> Met:
    """Make what befalls a unit that findings stop; the first one's name is the code of the hold."""
    found = tuple(findings)
    return Met(
        Happening.FINDING,
        said or "; ".join(f.text for f in found),
        code=found[0].check.value if found else "check",
        lifts=lifts_of(found),
    )
