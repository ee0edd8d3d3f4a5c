"""The journal and the state folded from it, side by side for the running day."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager

import anyio

from benchday.domain.entries import Draft, Entry
from benchday.domain.fold import DayState, fold
from benchday.domain.seams import Clock, Journal
from benchday.domain.steps import State, move_of, moved


class Book:
    """Appends entries and keeps the state up to date; everybody waits here for news."""

    def __init__(self, journal: Journal, clock: Clock) -> None:
        self.clock = clock
        self.state: DayState = fold(journal.read())
        self._journal = journal
        self._turn = anyio.Lock()
        self._news = anyio.Event()
        self._writes_since_us: int | None = None

    async def append(self, *drafts: Draft, expect: Sequence[str] = ()) -> tuple[Entry, ...]:
        """Append all or none, and take them in.

        Raises:
            IllegalMove: a unit cannot make this move; nothing was appended.
            AlreadyRecorded, RecordFull: from the journal; nothing was appended.
        """
        # Once begun, an append is seen through: a cancelled step must not leave the state behind the journal.
        entries: tuple[Entry, ...] = ()
        with anyio.CancelScope(shield=True):
            async with self._writing():
                self._check_moves(drafts)
                entries = await self._journal.append(drafts, expect)
                self._take_in()
        return entries

    @asynccontextmanager
    async def beside(self) -> AsyncIterator[Journal]:
        """Lend the journal for an append of its own (the permit desk's); what it wrote is taken in afterwards."""
        with anyio.CancelScope(shield=True):
            async with self._writing():
                try:
                    yield self._journal
                finally:
                    self._take_in()

    @asynccontextmanager
    async def _writing(self) -> AsyncIterator[None]:
        async with self._turn:
            self._writes_since_us = self.clock.monotonic()
            try:
                yield
            finally:
                self._writes_since_us = None

    def writes_for_s(self) -> int:
        """Return how many real seconds the entry that is being written has taken so far; 0 where none is."""
        since_us = self._writes_since_us
        return 0 if since_us is None else (self.clock.monotonic() - since_us) // 1_000_000

    def entries(self) -> tuple[Entry, ...]:
        """Return every entry of this bench, of all days."""
        return self._journal.read()

    async def changed(self) -> None:
        """Return when an entry has landed since the call."""
        await self._news.wait()

    async def until(self, condition: Callable[[], bool]) -> None:
        """Return when the condition holds; it is looked at after each entry."""
        while not condition():
            await self._news.wait()

    def watch(self) -> anyio.Event:
        """Return an event that is set by the next news; for whoever does something long between looking and waiting."""
        return self._news

    def nudge(self) -> None:
        """Wake whoever waits, without an entry: time has passed, or a stop was asked for."""
        news, self._news = self._news, anyio.Event()
        news.set()

    def _take_in(self) -> None:
        for entry in self._journal.read(after=self.state.seq):
            self.state.apply(entry)
        self.nudge()

    def _check_moves(self, drafts: Sequence[Draft]) -> None:
        states: dict[str, State] = {}
        fresh = False
        for draft in drafts:
            # A new day begins with no units: those of the day before are expected anew.
            fresh = fresh or draft.kind == "day_begun"
            move = move_of(draft.kind, draft.facts)
            if move is None or draft.unit is None:
                continue
            story = None if fresh else self.state.units.get(draft.unit)
            before = states.get(draft.unit, story.state if story else State.UNKNOWN)
            states[draft.unit] = moved(before, move)
