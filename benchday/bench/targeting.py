"""The target of a unit, from what is known of it and of its crew's other units now."""

from __future__ import annotations

from benchday.bench.serving import Tools
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.domain.units import Role
from benchday.planning.targets import Target, UnitNow, targets


def target_of(tools: Tools, unit: str) -> Target:
    """Return what a unit should get today."""
    state = tools.book.state
    story = state.units[unit]
    crew = [s for s in state.units.values() if s is story or (story.crew and s.crew == story.crew)]
    date = (state.begun or {}).get("date")
    found = targets([_now(s) for s in crew], tools.plan.images.images, date)
    return next(t for t in found if t.unit == unit)


def _now(story: UnitStory) -> UnitNow:
    identity = story.identity or {}
    away = {State.ABSENT: "absent", State.HELD: "held"}.get(story.state)
    return UnitNow(
        serial=story.serial,
        model=story.model,
        crew=story.crew,
        role=Role(story.role) if story.role else Role.NONE,
        hardware=identity.get("hardware") or None,
        release=story.has,
        in_boot=identity.get("mode") == "boot",
        support_until=story.support_until or identity.get("term"),
        away=away,
    )
