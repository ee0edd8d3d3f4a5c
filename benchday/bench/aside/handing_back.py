"""hand-back: a named person takes the unit and its accessories away; needs no station."""

from __future__ import annotations

from collections.abc import Iterator

from benchday.bench.aside.choosing import crews_to_choose_for, units_to_take_back
from benchday.bench.aside.sets import crew_done, needs_proof
from benchday.bench.serving import Tools
from benchday.domain.items import Item, ItemKind, Wanted
from benchday.domain.kinds import UnitHandedBack
from benchday.domain.steps import State


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


async def hand_back(tools: Tools, unit: str) -> None:
    """Have the unit handed to a named person."""
    story = tools.book.state.units[unit]
    playbook = tools.plan.playbook_for(story.model)
    came = [a for a in (playbook.accessories if playbook else ()) if a not in story.checked_in.get("missing", ())]
    text = f"Hand unit {unit} back to crew {story.crew or story.customer}, with: {', '.join(came) or 'no accessories'}."
    item = Item(
        id="",
        kind=ItemKind.INSTRUCT,
        topic="hand back",
        text=text,
        unit=unit,
        wanted=(
            Wanted("to", "who takes it", personal=True),
            Wanted("missing", "what is missing, with commas between", required=False),
        ),
    )
    answered = await tools.queue.ask(item)
    missing = [m.strip() for m in answered.text("missing").split(",") if m.strip()]
    facts = UnitHandedBack(
        to_ref=answered.text("to"), accessories=[a for a in came if a not in missing], missing=missing
    )
    await tools.book.append(facts.draft(unit=unit, operator=answered.operator))
