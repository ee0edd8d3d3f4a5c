"""wanted back: a crew wants a unit before the day's end; what cannot be verified by then is not begun."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from benchday.bench.serving import Tools
from benchday.domain.items import Item, ItemKind, Wanted
from benchday.domain.kinds import WantedBack

WANTED_BACK = "wanted back"


def open_wishes(tools: Tools) -> Iterator[str]:
    """Yield the units of which somebody said that they are wanted back, and not yet when."""
    for state in tools.book.state.open_items():
        if state.item.topic == WANTED_BACK and state.item.unit is not None:
            yield state.item.unit


async def want_back(tools: Tools, unit: str) -> None:
    """Have the time entered by which it must be handed back."""
    story = tools.book.state.units[unit]
    item = Item(
        id="",
        kind=ItemKind.EVIDENCE,
        topic=WANTED_BACK,
        text=f"Unit {unit} ({story.model}, crew {story.crew or 'none'}) is wanted back before the day ends. By when?",
        unit=unit,
        wanted=(
            Wanted("by", "time by which it is wanted back, like 11:00", pattern=r"([01][0-9]|2[0-3]):[0-5][0-9]"),
            Wanted("reason", "why", required=False, personal=True),
        ),
    )
    answered = await tools.queue.ask(item, verdict=lambda value: _no_time(tools, value))
    facts = WantedBack(by_us=tools.plan.at_us(answered.text("by")), reason_ref=answered.text("reason") or None)
    await tools.book.append(facts.draft(unit=unit, operator=answered.operator))


def _no_time(tools: Tools, value: Mapping[str, Any]) -> str | None:
    if tools.plan.at_us(str(value.get("by"))) <= tools.book.clock.now():
        return f"time by which it is wanted back: {value.get('by')} is past"
    return None
