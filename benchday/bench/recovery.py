"""Taking a day up again: what a program that ended, in order or not, left half done."""

from __future__ import annotations

from benchday.bench.book import Book
from benchday.bench.holds import interrupted
from benchday.bench.queue import ItemQueue
from benchday.domain.entries import Draft
from benchday.domain.items import ItemKind
from benchday.domain.kinds import LineStopped, UnitHeld
from benchday.domain.steps import NO_SAFE_STOP


async def hold_what_was_cut(book: Book, why: str) -> tuple[str, ...]:
    """Hold each unit that was in a step without a safe stop, and stop its line; return their serials.

    The unit keeps its station and its cable: nobody should touch it before a person has decided.
    """
    drafts: list[Draft] = []
    cut = [s for s in book.state.units.values() if s.state in NO_SAFE_STOP]
    for story in cut:
        began = story.open_act or story.sent
        hold = interrupted(why if began else f"{why}, before the act was spent: nothing was sent")
        facts = UnitHeld(code=hold.code, reason=hold.reason, lifts=hold.lifts)
        drafts.append(facts.draft(unit=story.serial, station=story.station))
        act = story.open_act or story.sent
        if act is not None:
            reason = f"the write of unit {story.serial} was cut short"
            stop = LineStopped(model=story.model, release=act.release or "", reason=reason)
            drafts.append(stop.draft(unit=story.serial, station=story.station))
    if drafts:
        await book.append(*drafts)
    return tuple(s.serial for s in cut)


async def void_confirmations(book: Book, queue: ItemQueue) -> None:
    """Withdraw confirmations that were open: what they showed may not hold any more, so they are asked anew."""
    for state in book.state.open_items():
        if state.item.kind is ItemKind.CONFIRM:
            await queue.void(state.item.id, "the program was started again")
