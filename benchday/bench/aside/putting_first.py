"""next: an operator lets a unit go before all others, with a reason, and sees first what that costs."""

from __future__ import annotations

from collections.abc import Iterator

from benchday.bench.serving import Tools
from benchday.domain.errors import InputError
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import UnitPutFirst
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.domain.units import Ability
from benchday.planning.forecast.outlook import slips
from benchday.planning.wording import MINUTE_US

NEXT = "next"
_FIRST, _LEAVE = "put it first", "leave the order"


def open_wishes_to_be_next(tools: Tools) -> Iterator[str]:
    """Yield the units of which somebody is asked whether they shall go first."""
    for state in tools.book.state.open_items():
        if state.item.topic == NEXT and state.item.unit is not None:
            yield state.item.unit


def check_can_be_next(story: UnitStory) -> None:
    """Refuse for a unit that does not wait.

    Raises:
        InputError: with the reason.
    """
    if story.state not in (State.EXPECTED, State.WAITING, State.CHARGING) or story.not_today is not None:
        where = story.not_today or story.state.value
        raise InputError(f"{story.serial} does not wait for anything that it could get sooner: {where}")


async def put_first(tools: Tools, unit: str) -> None:
    """Say what it costs, and have it decided with a reason."""
    cost, told = await _cost(tools, unit)
    story = tools.book.state.units[unit]
    item = Item(
        id="",
        kind=ItemKind.OVERRIDE,
        topic=NEXT,
        text="\n".join(
            [f"Unit {unit} ({story.model}, crew {story.crew or 'none'}) before all others? {told[0]}", *told[1:]]
        ),
        unit=unit,
        wanted=(
            Wanted("answer", "put it first, or leave the order", WantedKind.CHOICE, (_FIRST, _LEAVE)),
            Wanted("reason", "why", required=False),
        ),
        ability=Ability.CONFIRM,
    )
    answered = await tools.queue.ask(
        item,
        verdict=lambda v: "why: a reason stands in the log" if v["answer"] == _FIRST and not v.get("reason") else None,
    )
    if answered.text("answer") == _FIRST:
        facts = UnitPutFirst(reason=answered.text("reason"), cost_us=cost)
        await tools.book.append(facts.draft(unit=unit, operator=answered.operator))


async def _cost(tools: Tools, unit: str) -> tuple[int | None, list[str]]:
    """Return how much later the day ends, and what is to be said of it."""
    if tools.foreseer is None:
        return None, ["Nobody has reckoned what that costs."]
    state = tools.book.state
    turns = {serial: float(state.turn(serial)) for serial in state.units}
    before = await tools.foreseer.with_changes(turns=turns)
    after = await tools.foreseer.with_changes(turns={**turns, unit: min(turns.values(), default=0.0) - 1})
    if before is None or after is None:
        return None, ["What that costs cannot be told now."]
    cost = after.p80_us - before.p80_us
    if cost < MINUTE_US:
        head = "The day does not end later for it, in 80 of 100 drawn days."
    else:
        head = f"The day ends {cost // MINUTE_US} min later for it, in 80 of 100 drawn days."
    return cost, [head, *(f"- {slip}" for slip in slips(before, after))]
