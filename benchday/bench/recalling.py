"""recall: a unit that was ready waits for a station again, because its target has changed."""

from __future__ import annotations

from dataclasses import replace

from benchday.bench.serving import Tools
from benchday.bench.targeting import target_facts, target_for
from benchday.domain.kinds import UnitRecalled
from benchday.domain.steps import State


async def recall(tools: Tools, unit: str, why: str, operator: str | None) -> None:
    """Let a ready unit wait for a station again; one whose target is where it stays is left alone."""
    story = tools.book.state.units[unit]
    if story.state is not State.READY:
        return
    target = target_for(tools, replace(story, state=State.WAITING, verified=False))
    if not target.route:
        return
    # In one append: the dispatcher must not see a unit whose gates it cannot know.
    await tools.book.append(
        UnitRecalled(why=why).draft(unit=unit, operator=operator), target_facts(target).draft(unit=unit)
    )
    await tools.queue.void_for(unit, f"it is served again: {why}")
