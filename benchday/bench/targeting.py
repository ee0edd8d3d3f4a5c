"""The target of a unit, from what is known of it and of its crew's other units now."""

from __future__ import annotations

from benchday.bench.serving import Tools
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.domain.units import Role
from benchday.planning.targets import Target, UnitNow, targets


def target_of(tools: Tools, unit: str) -> Target:
    """Return what a unit should get today."""
    return target_for(tools, tools.book.state.units[unit])


def target_for(tools: Tools, story: UnitStory) -> Target:
    """Return what a unit should get today by this story, which need not stand in the entries yet."""
    state = tools.book.state
    units = {**state.units, story.serial: story}
    crew = [s for s in units.values() if s is story or (story.crew and s.crew == story.crew)]
    date = (state.begun or {}).get("date")
    found = targets([_now(s) for s in crew], tools.plan.images.images, date)
    return next(t for t in found if t.unit == story.serial)


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
