"""hand-back: a named person takes the unit and its accessories away; needs no station."""

from __future__ import annotations

from collections.abc import Iterator

from benchday.bench.aside.choosing import crews_to_choose_for, units_to_take_back
from benchday.bench.aside.sets import crew_done, needs_proof
from benchday.bench.serving import Tools
from benchday.domain.items import Answered, Item, ItemKind, Wanted
from benchday.domain.kinds import TakenAsItIs, UnitHandedBack
from benchday.domain.steps import State
from benchday.domain.story import UnitStory


def units_to_hand_back(tools: Tools) -> Iterator[str]:
    """Yield the ready units whose crew can take its set away."""
    state = tools.book.state
    ready = [story for story in state.units.values() if story.state is State.READY]
    undecided, back = (set(crews_to_choose_for(tools)), set(units_to_take_back(tools))) if ready else (set(), set())
    for story in ready:
        if story.crew in undecided or story.serial in back:
            continue
        if not story.crew or (crew_done(tools, story.crew) and not needs_proof(state, story.crew)):
            yield story.serial


def units_to_give_up(tools: Tools) -> Iterator[str]:
    """Yield the units that go back as they are and stand on no station any more."""
    for story in tools.book.state.units.values():
        if story.state is State.HELD and story.given_up is not None and not story.taken and story.station is None:
            yield story.serial


async def hand_back_as_it_is(tools: Tools, unit: str) -> None:
    """Have a unit that was not recovered handed to a named person, with the account of what was done."""
    story = tools.book.state.units[unit]
    told = "\n".join((story.given_up or {}).get("account", ()))
    came = _accessories(tools, story)
    text = (
        f"Hand unit {unit} back AS IT IS to crew {story.crew or story.customer}, NOT SERVED, with: "
        f"{', '.join(came) or 'no accessories'}. Tell them:\n{told}"
    )
    answered = await tools.queue.ask(_item("hand back as it is", text, unit))
    missing = _missing(answered)
    facts = TakenAsItIs(to_ref=answered.text("to"), accessories=[a for a in came if a not in missing], missing=missing)
    await tools.book.append(facts.draft(unit=unit, operator=answered.operator))


async def hand_back(tools: Tools, unit: str) -> None:
    """Have the unit handed to a named person."""
    story = tools.book.state.units[unit]
    came = _accessories(tools, story)
    text = f"Hand unit {unit} back to crew {story.crew or story.customer}, with: {', '.join(came) or 'no accessories'}."
    answered = await tools.queue.ask(_item("hand back", text, unit))
    missing = _missing(answered)
    facts = UnitHandedBack(
        to_ref=answered.text("to"), accessories=[a for a in came if a not in missing], missing=missing
    )
    await tools.book.append(facts.draft(unit=unit, operator=answered.operator))


def _accessories(tools: Tools, story: UnitStory) -> list[str]:
    """Return what came along with the unit."""
    playbook = tools.plan.playbook_for(story.model)
    return [a for a in (playbook.accessories if playbook else ()) if a not in story.checked_in.get("missing", ())]


def _item(topic: str, text: str, unit: str) -> Item:
    return Item(
        id="",
        kind=ItemKind.INSTRUCT,
        topic=topic,
        text=text,
        unit=unit,
        wanted=(
            Wanted("to", "who takes it", personal=True),
            Wanted("missing", "what is missing, with commas between", required=False),
        ),
    )


def _missing(answered: Answered) -> list[str]:
    return [m.strip() for m in answered.text("missing").split(",") if m.strip()]
