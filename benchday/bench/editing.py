"""Inputs edited while the day runs: offered as differences, accepted as entries, with a name."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass, replace

from benchday.bench.beginning import expected_units
from benchday.bench.serving import Tools
from benchday.domain.entries import Draft
from benchday.domain.image_lists import accepted, newest_seen, older_in
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import HoursChanged, InputChanged, PermitVoided, UnitChanged
from benchday.domain.plan import DayPlan
from benchday.domain.plan_says import IMAGES, says_of, terms_of, without_personal


@dataclass(frozen=True, slots=True)
class Edit:
    """What the files of the day say now, if that is not what was recorded."""

    plan: DayPlan | None
    """None: they hold mistakes."""
    differences: tuple[str, ...]
    """Sentences; the mistakes where there is no plan."""


Look = Callable[[DayPlan], Awaitable[Edit | None]]
"""Compares the files with the plan in force; None if nothing changed since it was last looked at."""

EDITED = "the day's files were edited"


async def watch_inputs(tools: Tools, look: Look) -> None:
    """Offer each edit once."""
    while True:
        edit = await look(tools.plan)
        if edit is not None:
            await _offer(tools, edit)


async def _offer(tools: Tools, edit: Edit) -> None:
    edit = _without_older_images(tools, edit)
    shown = "\n".join(f"- {d}" for d in edit.differences)
    if edit.plan is None:
        text = f"The day's files were edited and hold mistakes; the day goes on with what was read before.\n{shown}"
        item = Item("", ItemKind.INSTRUCT, "inputs", text)
        await tools.queue.ask(item)
        return
    item = Item(
        id="",
        kind=ItemKind.DECIDE,
        topic="inputs",
        text=f"The day's files were edited. Open permits that rest on them are voided if you accept.\n{shown}",
        wanted=(Wanted("answer", "accept, or go on as before", WantedKind.CHOICE, ("accept", "go on as before")),),
    )
    answered = await tools.queue.ask(item)
    accepted = answered.text("answer") == "accept"
    changed = InputChanged(differences=list(edit.differences), accepted=accepted)
    drafts = [changed.draft(operator=answered.operator)]
    if accepted:
        drafts += await _taking_over(tools, edit.plan)
    await tools.book.append(*drafts)
    if accepted:
        tools.take_over(without_personal(edit.plan))
        for state in tools.book.state.open_items():
            if state.item.kind is ItemKind.CONFIRM:
                # What it shows may not hold any more: the unit is looked at and asked for anew.
                await tools.queue.void(state.item.id, EDITED)


async def _taking_over(tools: Tools, plan: DayPlan) -> list[Draft]:
    state = tools.book.state
    new = [row for row in plan.roster if row.serial not in state.units]
    drafts = [
        facts.draft() for facts in says_of(plan) if state.inputs.get(facts.name, {}).get("sha256") != facts.sha256
    ]
    terms = terms_of(plan)
    if terms is not None and plan.terms != tools.plan.terms:
        drafts.append(terms.draft())
    drafts += _images(tools, plan)
    drafts += [*_moved_hours(tools, plan), *_edited_units(tools, plan)]
    drafts += await expected_units(tools.personal, plan, new, first=len(state.units))
    drafts += [PermitVoided(id=p, reason=EDITED).draft(unit=u) for p, u in tools.open_permits()]
    return drafts


def _without_older_images(tools: Tools, edit: Edit) -> Edit:
    """Take an edit with an image list older than one that was seen as one with a mistake."""
    if edit.plan is None or (refused := older_in(edit.plan, newest_seen(tools.book.entries()))) is None:
        return edit
    return Edit(None, (f"{edit.plan.day.image_store}/{IMAGES}: {refused}",))


def _images(tools: Tools, plan: DayPlan) -> Iterator[Draft]:
    """Yield the image list, if it or who signed it is not what was accepted last."""
    facts = accepted(plan).draft()
    last = next((e.facts for e in reversed(tools.book.entries()) if e.kind == facts.kind), None)
    if facts.facts != last:
        yield facts


def _moved_hours(tools: Tools, plan: DayPlan) -> Iterator[Draft]:
    begun = tools.book.state.begun or {}
    hours = HoursChanged(opens_us=plan.at_us(plan.hours.opens), closes_us=plan.at_us(plan.hours.closes))
    if (hours.opens_us, hours.closes_us) != (begun.get("opens_us"), begun.get("closes_us")):
        yield hours.draft()


def _edited_units(tools: Tools, plan: DayPlan) -> Iterator[Draft]:
    """Yield what the roster now says otherwise of units of the day; a changed model is left for a person to hold."""
    for row in plan.roster:
        story, before = tools.book.state.units.get(row.serial), tools.plan.row(row.serial)
        # What was not edited stays as it is told: a unit may know its own support term better by now.
        if (
            story is None
            or before is None
            or replace(before, contact="", note="", line=0) == replace(row, contact="", note="", line=0)
        ):
            continue
        yield UnitChanged(
            customer=row.customer,
            crew=row.crew,
            role=row.role.value,
            arrives_us=plan.at_us(row.arrives) if row.arrives else None,
            promised_us=plan.at_us(row.promised) if row.promised else None,
            support_until=row.support_until,
        ).draft(unit=row.serial)
