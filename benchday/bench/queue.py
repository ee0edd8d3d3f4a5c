"""The operators' queue: items are journaled when asked and when answered; the first answer wins."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import replace
from typing import Any

import anyio

from benchday.bench.book import Book
from benchday.domain.errors import AlreadyRecorded, BenchdayError, InputError
from benchday.domain.fold import ItemState
from benchday.domain.items import Answered, Item, ItemKind, WantedKind
from benchday.domain.kinds import CautionAcknowledged, ItemAnswered, ItemAsked, ItemTaken, ItemVoided
from benchday.domain.seams import Personal
from benchday.domain.units import Ability

Verdict = Callable[[Mapping[str, Any]], str | None]
"""Looks at an answer beyond its types; says what is wrong with it."""


class Withdrawn(BenchdayError):
    """An item was withdrawn before anybody answered it."""


Hands = Callable[[Item, Mapping[str, Any]], Awaitable[None]]
"""Does to simulated units what a person has just said they did; None on a real bench, where people do it themselves."""

KeepFile = Callable[[str], Awaitable[str]]
"""Copies the file of a path into the archive and returns its SHA-256; raises InputError where that cannot be done."""


class ItemQueue:
    """Asks, and takes answers."""

    def __init__(
        self,
        book: Book,
        abilities: Mapping[str, frozenset[Ability]],
        cautions: Mapping[str, str],
        *,
        personal: Personal,
        hands: Hands | None = None,
        keep_file: KeepFile | None = None,
    ) -> None:
        self._book = book
        self._personal = personal
        self._hands = hands
        self._keep_file = keep_file
        self.abilities = abilities
        self._cautions = cautions
        self._verdicts: dict[str, Verdict] = {}
        self._numbered = 0

    async def ask(self, item: Item, verdict: Verdict | None = None) -> Answered:
        """Put an item into the queue and return its answer.

        An open item on the same unit and topic, left by a program that ended, is taken up again; never a confirmation.

        Raises:
            Withdrawn: it expired, or was voided.
        """
        item_id = self._left_open(item)
        fresh = item_id is None
        if item_id is None:
            item_id = self._next_number()
        if verdict is not None:
            # Before anybody can see the item: no answer may slip past.
            self._verdicts[item_id] = verdict
        if fresh:
            asked = replace(item, id=item_id, asked_us=self._book.clock.now())
            draft = ItemAsked(item=asked.as_facts()).draft(unit=item.unit, station=item.station)
            await self._book.append(draft, expect=(self._name(item_id, "asked"),))
        return await self._answer_of(item_id, item.expires_us)

    async def take(self, item_id: str, operator: str) -> None:
        """Let a named person take an item, so that two do not do it twice.

        Raises:
            InputError: somebody else has it, or it is no longer open.
        """
        state = self._open(item_id)
        self._allow(state.item, operator)
        if state.taken_by is not None and state.taken_by != operator:
            raise InputError(f"{state.taken_by} has taken item {item_id}")
        if state.taken_by is None:
            draft = ItemTaken(id=item_id).draft(unit=state.item.unit, station=state.item.station, operator=operator)
            try:
                await self._book.append(draft, expect=(self._name(item_id, "taken"),))
            except AlreadyRecorded:
                raise InputError(f"somebody else has taken item {item_id}") from None

    async def answer(self, item_id: str, value: Mapping[str, Any], operator: str, by: str) -> None:
        """Answer an item.

        Raises:
            InputError: the answer is not what is wanted, or the operator may not give it.
            AlreadyRecorded: somebody answered before.
        """
        state = self._open(item_id)
        self._allow(state.item, operator)
        problems = list(state.item.problems(value))
        if not problems and (verdict := self._verdicts.get(item_id)) is not None:
            problems += [p for p in (verdict(value),) if p]
        if problems:
            raise InputError("; ".join(problems))
        value = await self._with_files_kept(state.item, value)
        if self._hands is not None:
            await self._hands(state.item, value)
        drafts = [ItemAnswered(id=item_id, value=await self._without_personal(state.item, value), by=by)]
        unit, station = state.item.unit, state.item.station
        acknowledged = [CautionAcknowledged(caution=c, text=self._cautions.get(c, c)) for c in state.item.cautions]
        await self._book.append(
            *(d.draft(unit=unit, station=station, operator=operator) for d in [*drafts, *acknowledged]),
            expect=(self._name(item_id, "answered"),),
        )
        self._verdicts.pop(item_id, None)

    async def void(self, item_id: str, reason: str) -> None:
        """Withdraw an open item; one that was answered in the meantime stays answered."""
        state = self._book.state.items[item_id]
        if not state.open:
            return
        draft = ItemVoided(id=item_id, reason=reason).draft(unit=state.item.unit, station=state.item.station)
        try:
            await self._book.append(draft, expect=(self._name(item_id, "answered"),))
        except AlreadyRecorded:
            return
        self._verdicts.pop(item_id, None)

    async def void_topic(self, unit: str, topic: str, reason: str) -> None:
        """Withdraw an open item about a unit that needs no answer any more."""
        for state in self._book.state.open_items():
            if (state.item.unit, state.item.topic) == (unit, topic):
                await self.void(state.item.id, reason)

    async def void_for(self, unit: str, reason: str) -> None:
        """Withdraw every open item about a unit."""
        for state in self._book.state.open_items():
            if state.item.unit == unit:
                await self.void(state.item.id, reason)

    def ordered(self) -> tuple[ItemState, ...]:
        """Return the open items: safety first, then the policy's order (priority, time of asking, position)."""
        day = self._book.state

        def turn(state: ItemState) -> tuple[bool, int, int, int]:
            story = day.units.get(state.item.unit or "")
            priority = day.turn(story.serial) if story else -1
            return (not state.item.safety, priority, state.item.asked_us, story.position if story else -1)

        return tuple(sorted(self._book.state.open_items(), key=turn))

    def may(self, operator: str, item: Item) -> bool:
        """Tell whether an operator is allowed to answer an item."""
        abilities = self.abilities.get(operator)
        return abilities is not None and (item.ability is None or item.ability in abilities)

    async def _answer_of(self, item_id: str, expires_us: int | None) -> Answered:
        async with anyio.create_task_group() as timer:
            if expires_us is not None:
                timer.start_soon(self._expire, item_id, expires_us)
            await self._book.until(lambda: not self._book.state.items[item_id].open)
            timer.cancel_scope.cancel()
        state = self._book.state.items[item_id]
        if state.answered is None:
            raise Withdrawn(state.voided or "withdrawn")
        return state.answered

    async def _expire(self, item_id: str, expires_us: int) -> None:
        await self._book.clock.wait_until(expires_us)
        await self.void(item_id, "it expired")

    async def _without_personal(self, item: Item, value: Mapping[str, Any]) -> dict[str, Any]:
        """Keep what is personal beside the chain, and return the answer with references in its place."""
        answer = dict(value)
        for wanted in item.wanted:
            text = answer.get(wanted.name)
            if wanted.personal and isinstance(text, str) and text:
                answer[wanted.name] = await self._personal.keep(text)
        return answer

    async def _with_files_kept(self, item: Item, value: Mapping[str, Any]) -> Mapping[str, Any]:
        """Copy the attached files, and return the answer with their digests in the place of their paths.

        Raises:
            InputError: one cannot be attached; nothing is answered.
        """
        answer = dict(value)
        for wanted in item.wanted:
            path = answer.get(wanted.name)
            if wanted.kind is WantedKind.FILE and isinstance(path, str) and path:
                if self._keep_file is None:
                    raise InputError("nothing can be attached here: there is no archive")
                answer[wanted.name] = await self._keep_file(path)
        return answer

    def _next_number(self) -> str:
        """Return a number that no item has; short, so that a person can type it."""
        self._numbered = max(self._numbered, self._book.state.items_asked) + 1
        return str(self._numbered)

    def _left_open(self, item: Item) -> str | None:
        if item.kind is ItemKind.CONFIRM:
            return None
        for state in self._book.state.open_items():
            if (state.item.unit, state.item.topic, state.item.kind) == (item.unit, item.topic, item.kind):
                return state.item.id
        return None

    def _open(self, item_id: str) -> ItemState:
        state = self._book.state.items.get(item_id)
        if state is None:
            raise InputError(f"there is no item {item_id}")
        if state.answered is not None:
            raise InputError(f"{state.answered.operator} has answered item {item_id} already")
        if state.voided is not None:
            raise InputError(f"item {item_id} was withdrawn: {state.voided}")
        return state

    def _allow(self, item: Item, operator: str) -> None:
        if operator not in self.abilities:
            known = ", ".join(sorted(self.abilities))
            raise InputError(f"{operator or 'nobody'} is not an operator of this bench; operators: {known}")
        if not self.may(operator, item):
            raise InputError(f"{operator} may not {item.ability.value if item.ability else 'answer this'}")

    def _name(self, item_id: str, what: str) -> str:
        begun = self._book.state.begun or {}
        return f"item:{begun.get('date', '')}:{begun.get('opens_us', 0)}:{item_id}:{what}"
