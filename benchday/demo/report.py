"""What the demo day came to: one document for programs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchday.domain.fold import DayState
from benchday.domain.plan import DayPlan
from benchday.domain.story import UnitStory


@dataclass(frozen=True, slots=True)
class DemoReport:
    """How the day ended."""

    folder: Path
    record: Path
    plan: DayPlan
    state: DayState

    @property
    def finished(self) -> bool:
        """Tell whether the day was closed."""
        return self.state.closed is not None

    def document(self) -> dict[str, Any]:
        """Return the report as the contract has it."""
        return {
            "benchday": "demo/1",
            "simulated": True,
            "day": (self.state.begun or {}).get("day"),
            "date": (self.state.begun or {}).get("date"),
            "finished": self.finished,
            "record": str(self.record),
            "units": [unit_report(story) for story in self.state.units.values()],
        }


def unit_report(story: UnitStory) -> dict[str, Any]:
    """Return what became of one unit."""
    return {
        "serial": story.serial,
        "reported_serial": story.reported_serial,
        "model": story.model,
        "crew": story.crew or None,
        "had": story.had,
        "has": story.has,
        "target": story.target,
        "route": list(story.whole_route),
        "writes": len(story.writes),
        "permits": story.permits,
        "outcome": story.outcome,
        "reason": reason_of(story),
        "findings": [dict(f) for f in story.findings],
        "preserved": [
            {"name": r["name"], "sha256": r["sha256"], "bytes": r["bytes"]} for r in story.preserved.values()
        ],
        "minutes": minutes_of(story),
    }


def reason_of(story: UnitStory) -> str:
    """Say in one sentence why a unit ended as it did."""
    if story.held_reason:
        return story.held_reason
    return story.not_today or story.target_reason


def minutes_of(story: UnitStory) -> int | None:
    """Return the whole minutes of day time from its first station to ready or held; None if it was never served."""
    if story.begun_us is None or story.ended_us is None:
        return None
    return max(0, round((story.ended_us - story.begun_us) / 60_000_000))
