"""renewal: a support term renewed while the day runs, with what shows it; the unit is read again before a write."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from benchday.bench.recalling import recall
from benchday.bench.serving import Tools
from benchday.bench.targeting import target_for, term_now
from benchday.domain.entries import Draft
from benchday.domain.errors import InputError
from benchday.domain.items import Item, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import PermitVoided, TermRenewed
from benchday.domain.steps import NO_SAFE_STOP, State
from benchday.domain.story import UnitStory
from benchday.domain.units import Ability
from benchday.planning.terms import TermSource

RENEWAL = "renewal"
RENEWED = "its support term was renewed: the unit is read again"
_WHO = {
    TermSource.UNIT: "the unit itself",
    TermSource.RENEWAL: "an earlier renewal",
    TermSource.SUPPLIER: "the supplier's list",
    TermSource.ROSTER: "the roster",
    TermSource.IMPORTED: "the list that was read in",
}
_AGAIN = ("serve it again", "leave it as it is")


def open_renewals(tools: Tools) -> Iterator[str]:
    """Yield the units whose renewal is asked for, by this program or by one that ended."""
    for state in tools.book.state.open_items():
        if state.item.topic == RENEWAL and state.item.unit is not None:
            yield state.item.unit


def check_renewable(story: UnitStory) -> None:
    """Refuse a renewal that could change nothing today.

    Raises:
        InputError: with the reason.
    """
    if story.state is State.HANDED_BACK:
        raise InputError(f"{story.serial} was handed back: its renewal holds from the next service on")
    if story.state in NO_SAFE_STOP:
        raise InputError(f"{story.serial} is being written; enter the renewal once it is verified")


async def renew(tools: Tools, unit: str) -> None:
    """Have the new term entered with what shows it; open permits end, and what was ready may be served again."""
    answered = await tools.queue.ask(_asked(tools, unit), verdict=lambda value: _no_longer(tools, unit, value))
    story, until = tools.book.state.units[unit], answered.text("until")
    facts = TermRenewed(before=term_now(tools, story).last_day, until=until, evidence_ref=answered.text("evidence"))
    drafts: list[Draft] = [facts.draft(unit=unit, operator=answered.operator)]
    drafts += [PermitVoided(id=p, reason=RENEWED).draft(unit=u) for p, u in tools.open_permits() if u == unit]
    await tools.book.append(*drafts)
    for state in tools.book.state.open_items():
        if state.item.unit == unit and state.item.kind is ItemKind.CONFIRM:
            await tools.queue.void(state.item.id, RENEWED)
    if answered.text("again") == _AGAIN[0]:
        await recall(tools, unit, RENEWED, answered.operator)


def _asked(tools: Tools, unit: str) -> Item:
    story = tools.book.state.units[unit]
    now = term_now(tools, story)
    before = f"{now.last_day}, says {_WHO[now.source]}" if now.source is not None else "not known"
    text = f"Unit {unit} ({story.model}): its support term until now is {before}. Until when was it renewed?"
    wanted = [
        Wanted("until", "last day of the renewed term", WantedKind.DATE),
        Wanted("evidence", "what shows it: an order's number, a letter", personal=True),
    ]
    if story.state is State.READY and target_for(tools, _renewed(story, "9999-12-31")).route:
        text += " It is ready on an older release than the renewal may allow."
        wanted.append(Wanted("again", "serve it again today, or leave it", WantedKind.CHOICE, _AGAIN))
    return Item(
        id="",
        kind=ItemKind.EVIDENCE,
        topic=RENEWAL,
        text=text,
        unit=unit,
        wanted=tuple(wanted),
        ability=Ability.CONFIRM,
    )


def _renewed(story: UnitStory, until: str) -> UnitStory:
    return replace(story, term_renewed=until, renewal_unread=True)


def _no_longer(tools: Tools, unit: str, value: Mapping[str, Any]) -> str | None:
    story = tools.book.state.units[unit]
    now, until = term_now(tools, story), str(value.get("until"))
    if now.last_day is None or until > now.last_day:
        return None
    # A letter may show what the supplier's list already says, before the unit itself says so.
    if until == now.last_day and now.source not in {TermSource.UNIT, TermSource.RENEWAL}:
        return None
    return f"last day of the renewed term: expected a day after {now.last_day}, the last day until now"
