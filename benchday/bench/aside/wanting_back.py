"""wanted back: a crew wants a unit, or its whole set, before the day's end; what cannot be verified is not begun."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from benchday.bench.serving import Tools
from benchday.domain.items import Item, ItemKind, Wanted
from benchday.domain.kinds import WantedBack
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.domain.telling.figures import clock
from benchday.planning.forecast.outlook import Outlook, slips

WANTED_BACK = "wanted back"
_GONE = (State.HANDED_BACK, State.ABSENT)
_SERVED = (State.READY, State.HELD)


def open_wishes(tools: Tools) -> Iterator[str]:
    """Yield the units and crews of which somebody said that they are wanted back, and not yet when."""
    for state in tools.book.state.open_items():
        if state.item.topic == WANTED_BACK and state.item.unit is not None:
            yield state.item.unit
        elif state.item.topic.startswith(f"{WANTED_BACK} "):
            yield state.item.topic.removeprefix(f"{WANTED_BACK} ")


async def want_back(tools: Tools, subject: str) -> None:
    """Have the time entered by which a unit, or all units of a crew, must be handed back; say what that means."""
    unit = subject if subject in tools.book.state.units else None
    answered = await tools.queue.ask(_asked(tools, subject, unit), verdict=lambda value: _no_time(tools, value))
    before = await tools.foreseer.with_changes() if tools.foreseer is not None else None
    wanted = [s for s in _of(tools, subject, unit) if s.state not in _GONE]
    facts = WantedBack(by_us=tools.plan.at_us(answered.text("by")), reason_ref=answered.text("reason") or None)
    await tools.book.append(*(facts.draft(unit=s.serial, operator=answered.operator) for s in wanted))
    after = await tools.foreseer.with_changes() if tools.foreseer is not None else None
    if after is not None:
        lines = _what_it_means(tools, wanted, before, after)
        text = "\n".join([f"{_title(subject, unit)} is wanted back by {answered.text('by')}.", *lines])
        await tools.queue.ask(Item("", ItemKind.INSTRUCT, f"back by {subject}", text, unit=unit))


def _of(tools: Tools, subject: str, unit: str | None) -> list[UnitStory]:
    units = tools.book.state.units
    return [units[unit]] if unit is not None else [s for s in units.values() if s.crew == subject]


def _title(subject: str, unit: str | None) -> str:
    return f"Unit {subject}" if unit is not None else f"The set of crew {subject}"


def _asked(tools: Tools, subject: str, unit: str | None) -> Item:
    what = ", ".join(f"{s.serial} ({s.model}, {s.state.value})" for s in _of(tools, subject, unit))
    return Item(
        id="",
        kind=ItemKind.EVIDENCE,
        topic=WANTED_BACK if unit is not None else f"{WANTED_BACK} {subject}",
        text=f"{_title(subject, unit)} is wanted back before the day ends: {what}. By when?",
        unit=unit,
        wanted=(
            Wanted("by", "time by which it is wanted back, like 11:00", pattern=r"([01][0-9]|2[0-3]):[0-5][0-9]"),
            Wanted("reason", "why", required=False, personal=True),
        ),
    )


def _no_time(tools: Tools, value: Mapping[str, Any]) -> str | None:
    if tools.plan.at_us(str(value.get("by"))) <= tools.book.clock.now():
        return f"time by which it is wanted back: {value.get('by')} is past"
    return None


def _what_it_means(tools: Tools, wanted: list[UnitStory], before: Outlook | None, after: Outlook) -> Iterator[str]:
    """Yield what can be finished by then, what must not be begun, and what else slips."""
    for story in wanted:
        ends_us = after.units_us.get(story.serial)
        if story.state in _SERVED:
            yield f"- {story.serial} is {story.state.value}."
        elif story.serial in after.not_begun or ends_us is None:
            yield f"- {story.serial}: its write must not be begun, it would not be verified by then."
        else:
            late = "" if story.wanted_back_us is None or ends_us <= story.wanted_back_us else ", which is later"
            yield f"- {story.serial} can be finished: ready about {clock(ends_us, tools.plan.zone)}{late}."
    if before is not None:
        yield from (f"- {slip}" for slip in slips(before, after))
