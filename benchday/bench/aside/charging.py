"""charge: a unit with too little charge goes on a charger before it asks for a station."""

from __future__ import annotations

from collections.abc import Iterator

from benchday.bench.serving import Tools
from benchday.domain.cautions import Every, Moment, cautions_at
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import ChargeBegun, ChargeEnded
from benchday.domain.steps import State
from benchday.planning.charging import charging_minutes
from benchday.planning.gates import CHARGER
from benchday.planning.power import aged_mwh


def units_to_charge(tools: Tools) -> Iterator[str]:
    """Yield the units that have been granted a charger."""
    for story in tools.book.state.units.values():
        if CHARGER in story.places and story.state in (State.WAITING, State.CHARGING):
            yield story.serial


async def charge(tools: Tools, unit: str) -> None:
    """Have the unit put on its charger, wait, and have it taken off."""
    story = tools.book.state.units[unit]
    charger = story.places[CHARGER]
    if story.state is State.WAITING:
        await tools.queue.ask(_item(tools, unit, "charge", f"Put unit {unit} on charger {charger}."))
        playbook = tools.plan.playbook_for(story.model)
        percent_now = (story.power or {}).get("charge_percent") or story.checked_in.get("charge_percent") or 0
        wanted = story.charge_wanted_percent or 80
        minutes = charging_minutes(percent_now, wanted, aged_mwh(playbook), playbook) if playbook else 60
        ends = tools.book.clock.now() + minutes * 60_000_000
        await tools.book.append(ChargeBegun(charger=charger, ends_us=ends).draft(unit=unit))
    await tools.book.clock.wait_until(story.charge_ends_us or 0)
    text = f"Unit {unit} should be charged now. Take it off charger {charger} and read its charge."
    item = _item(
        tools,
        unit,
        "charged",
        text,
        Wanted("charge_percent", "charge", WantedKind.INTEGER, unit="%", lowest=0, highest=100),
    )
    answered = await tools.queue.ask(item)
    ended = ChargeEnded(charger=charger, percent=answered.integer("charge_percent"))
    await tools.book.append(ended.draft(unit=unit, operator=answered.operator))
    await tools.places.free(unit, CHARGER)


def _item(tools: Tools, unit: str, topic: str, text: str, *wanted: Wanted) -> Item:
    playbook = tools.plan.playbook_for(tools.book.state.units[unit].model)
    named = cautions_at(Moment.CHARGE, tools.plan.cautions, playbook.cautions if playbook else ())
    shown = [c for c in named if c.every is Every.TIME] if topic == "charge" else []
    words = "\n".join([text, *(f"CAUTION {c.text}" for c in shown)])
    return Item(
        id="", kind=ItemKind.INSTRUCT, topic=topic, text=words, unit=unit, wanted=wanted,
        cautions=tuple(c.name for c in shown),
    )  # fmt: skip
