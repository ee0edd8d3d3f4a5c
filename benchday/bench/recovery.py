"""Taking a day up again: what a program that ended, in order or not, left half done."""

from __future__ import annotations

from benchday.bench.book import Book
from benchday.bench.holds import Hold, Met
from benchday.bench.queue import ItemQueue
from benchday.domain.entries import Draft
from benchday.domain.happenings import Happening, Stage
from benchday.domain.items import ItemKind
from benchday.domain.kinds import ActEnded
from benchday.domain.permits import Verb
from benchday.domain.steps import NO_SAFE_STOP, State
from benchday.domain.story import UnitStory


async def hold_what_was_cut(book: Book, queue: ItemQueue, why: str) -> tuple[str, ...]:
    """Hold each unit that was in a step without a safe stop, and stop its line; return their serials.

    The unit keeps its station and its cable: nobody should touch it before a person has decided.
    """
    drafts: list[Draft] = []
    cut = [s for s in book.state.units.values() if s.state in NO_SAFE_STOP or _half_set(s)]
    for story in cut:
        # First, since a unit that is held is not looked at here again: an act that was asked of hands ("begin now")
        # is over, and nobody may still do it to a unit that may be half written.
        await queue.void_for(story.serial, why)
        drafts += _ended(story)
        drafts += _hold(story, why).drafts(story, story.station)
    if drafts:
        await book.append(*drafts)
    return tuple(s.serial for s in cut)


def _hold(story: UnitStory, why: str) -> Hold:
    if _half_set(story):
        return Hold(Met(Happening.PROGRAM_ENDED, "the program ended"), Stage.PUT_BACK)
    if story.open_act is None and story.sent is None:
        said = f"{why}, before the act was spent: nothing was sent"
        return Hold(Met(Happening.PROGRAM_ENDED, said), Stage.BEFORE_ACT)
    stage = Stage.WRITE if story.state is State.WRITE else Stage.RESTART
    return Hold(Met(Happening.PROGRAM_ENDED, why), stage)


def _half_set(story: UnitStory) -> bool:
    """Tell whether saved settings were being put back."""
    return story.open_act is not None and story.open_act.verb == Verb.PUT_SETTINGS


def _ended(story: UnitStory) -> list[Draft]:
    """Close the act that put settings back: comparing them again tells what is in, whatever became of it."""
    act = story.open_act
    if act is None or not _half_set(story):
        return []
    facts = ActEnded(permit=act.permit, act=act.act, outcome="unknown", bytes=0, sha256=act.digest)
    return [facts.draft(unit=story.serial, station=story.station)]


async def void_confirmations(book: Book, queue: ItemQueue) -> None:
    """Withdraw confirmations that were open: what they showed may not hold any more, so they are asked anew."""
    for state in book.state.open_items():
        if state.item.kind is ItemKind.CONFIRM:
            await queue.void(state.item.id, "the program was started again")
