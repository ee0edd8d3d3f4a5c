"""choice: a set that does not come along whole; what it does is chosen by a person before anything more is written."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from benchday.bench.recalling import recall
from benchday.bench.serving import Tools
from benchday.bench.targeting import choice_in_force, question_about, target_of
from benchday.domain.errors import AlreadyRecorded
from benchday.domain.fold import DayState
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import SetDecided
from benchday.domain.sets import SetChoice
from benchday.domain.steps import ON_STATION, State
from benchday.domain.story import UnitStory
from benchday.domain.units import Ability
from benchday.planning.decisions import SetOption, SetQuestion

CHOICE = "choice "
CHANGED = "the set stands otherwise now"


def crews_to_choose_for(tools: Tools) -> Iterator[str]:
    """Yield the crews with somebody here whose set is not whole and not decided about as it stands now."""
    state = tools.book.state
    for crew in dict.fromkeys(u.crew for u in state.units.values() if u.crew and u.present):
        if not _leaves(state, crew) and must_be_chosen(tools, crew):
            yield crew


def must_be_chosen(tools: Tools, crew: str) -> bool:
    """Tell whether a crew's set is not whole and not decided about as it stands, or waits and is whole."""
    question = question_about(tools, crew)
    if question is None:
        return tools.book.state.sets_decided.get(crew, {}).get("choice") == SetChoice.WAIT
    return choice_in_force(tools, question) is None


def stands_in_the_way(tools: Tools, story: UnitStory) -> bool:
    """Tell whether a unit must not be written yet because of its set: a choice is to be made, or the set waits."""
    question = question_about(tools, story.crew) if story.crew else None
    if question is None or not any(story.serial in o.targets for o in question.options):
        return False
    return choice_in_force(tools, question) in (None, SetChoice.WAIT)


def _leaves(state: DayState, crew: str) -> bool:
    """Tell whether a crew is taking its units away, and nothing is served any more: there is nothing left to choose."""
    states = [u.state for u in state.of_crew(crew)]
    return State.HANDED_BACK in states and not any(s is State.WAITING or s in ON_STATION for s in states)


async def choose(tools: Tools, crew: str) -> None:
    """Have the choice made, until it stands for the set as it is; a wait ends by itself once the set is whole again."""
    while True:
        question = question_about(tools, crew)
        if question is None:
            await _whole_again(tools, crew)
            return
        if choice_in_force(tools, question) is not None:
            return
        await _ask(tools, question)


async def choose_anew(tools: Tools, crew: str) -> None:
    """Have the choice made although one is in force."""
    question = question_about(tools, crew)
    if question is not None:
        await _ask(tools, question)


async def _ask(tools: Tools, question: SetQuestion) -> None:
    state = tools.book.state
    before = state.sets_decided.get(question.crew, {}).get("seq", 0)
    item = _item(question)
    for open_item in _open(tools, question.crew):
        # Left by a program that ended, it may be about another situation; an answer to that decides nothing of this.
        if tools.asked_about.get(question.crew) != question.situation and open_item.text != item.text:
            await tools.queue.void(open_item.id, CHANGED)
    tools.asked_about[question.crew] = question.situation
    answered = await tools.queue.ask(item)
    choice = SetChoice(answered.text("answer"))
    option = next(o for o in question.options if o.choice is choice)
    facts = SetDecided(
        crew=question.crew,
        units=sorted(option.targets),
        choice=choice.value,
        situation=question.situation,
        release=_release(option),
        why="; ".join(question.why),
        reason=answered.text("reason"),
    )
    # A station that waits for the same answer would record it too: one of both is enough.
    with suppress(AlreadyRecorded):
        name = f"set:{(state.begun or {}).get('opens_us', 0)}:{question.crew}:after {before}"
        await tools.book.append(facts.draft(operator=answered.operator), expect=(name,))


def choices_gone_by(tools: Tools) -> Iterator[str]:
    """Yield the crews with an open choice about a situation that is no more: nobody need answer that."""
    for crew, situation in tools.asked_about.items():
        if _open(tools, crew):
            question = question_about(tools, crew)
            if question is None or question.situation != situation:
                yield crew


async def withdraw(tools: Tools, crew: str) -> None:
    """Withdraw what was asked; whoever waits for it looks anew, and asks anew if there is still something to choose."""
    for item in _open(tools, crew):
        await tools.queue.void(item.id, CHANGED)


def _open(tools: Tools, crew: str) -> list[Item]:
    return [i.item for i in tools.book.state.open_items() if i.item.topic == f"{CHOICE}{crew}"]


def _release(option: SetOption) -> str | None:
    """Return the release on which all of the set would be, if the choice is about that and it is one."""
    ends = set(option.targets.values())
    return ends.pop() if option.choice in (SetChoice.KEEP, SetChoice.BACK) and len(ends) == 1 else None


async def _whole_again(tools: Tools, crew: str) -> None:
    decided = tools.book.state.sets_decided.get(crew, {})
    if decided.get("choice") == SetChoice.WAIT:
        facts = SetDecided(
            crew=crew, units=list(decided["units"]), choice=SetChoice.TOGETHER.value, situation="", release=None,
            why="", reason="",
        )  # fmt: skip
        await tools.book.append(facts.draft())


def units_to_take_back(tools: Tools) -> Iterator[str]:
    """Yield the ready units that a decision about their set sends back to an older release."""
    state = tools.book.state
    for story in state.units.values():
        decided = state.sets_decided.get(story.crew, {})
        if (
            story.state is State.READY
            and decided.get("choice") == SetChoice.BACK
            and target_of(tools, story.serial).back
        ):
            yield story.serial


async def recall_back(tools: Tools, unit: str) -> None:
    """Let it wait for a station again."""
    crew = tools.book.state.units[unit].crew
    await recall(tools, unit, f"the set of crew {crew} goes back together", None)


def _item(question: SetQuestion) -> Item:
    lines = [
        f"The set of crew {question.crew} does not come along whole: {'; '.join(question.why)}.",
        *(f"- {o.choice.value}: {o.text}" for o in question.options),
    ]
    choices = tuple(o.choice.value for o in question.options)
    return Item(
        id="",
        kind=ItemKind.DECIDE,
        topic=f"{CHOICE}{question.crew}",
        text="\n".join(lines),
        wanted=(
            Wanted("answer", "what the set does", WantedKind.CHOICE, choices),
            Wanted("reason", "why"),
        ),
        ability=Ability.CONFIRM,
    )
