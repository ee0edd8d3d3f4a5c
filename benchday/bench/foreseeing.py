"""The forecast while the day runs: worked out again as entries land, on the policy that the live bench goes by.

What it says is shown and not recorded, as ticks are, but for what people rely on: the order in which units go first, a
promise that will probably not hold, and once an hour how the day looked. No write rests on it, and nothing that it
stumbles over stops a day.
"""

from __future__ import annotations

import copy
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

import anyio

from benchday.bench.apart import Apart, in_a_thread
from benchday.bench.halves import outlook_apart
from benchday.bench.serving import Tools
from benchday.bench.targeting import targets_now
from benchday.domain.entries import Entry
from benchday.domain.fold import DayState
from benchday.domain.kinds import DayForeseen, OrderSet, PromiseAtRisk
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.logs import logger
from benchday.planning.forecast.learnt import learnt_by
from benchday.planning.forecast.modelling import Compiled, Known
from benchday.planning.forecast.outlook import CrewOutlook, Outlook
from benchday.planning.forecast.promises import promise_saved
from benchday.planning.forecast.search import search
from benchday.planning.forecast.so_far import model_now
from benchday.planning.forecast.stages import LawsOf
from benchday.planning.learning_records import records_of, told
from benchday.planning.wording import MINUTE_US

T = TypeVar("T")
HOUR_US = 60 * MINUTE_US
WAITS = (State.EXPECTED, State.WAITING, State.CHARGING)
"""Where a unit is that an order can still say something of."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How much is worked out, and how often."""

    replications: int = 300
    every_s: float = 3.0
    """Real seconds from the end of one forecast to the beginning of the next."""
    evaluations: int = 400
    """Orders that are tried; a number and not a time, so that equal days find equal orders."""
    draws: int = 40


PLENTY = Pace()
SPARING = Pace(replications=100, every_s=4.0, evaluations=150, draws=20)
"""For days that run faster than real time, which leave less of the computer."""


class Foreseer:
    """Keeps an outlook of the day that runs."""

    def __init__(self, tools: Tools, known: Known, pace: Pace = PLENTY, apart: Apart = in_a_thread) -> None:
        self._tools = tools
        self._known = known
        self._pace = pace
        self._apart = apart
        self._ordered: frozenset[str] = frozenset()
        self.outlook: Outlook | None = None
        """None until the first forecast is done, and once the rest of the day cannot be foreseen."""

    async def run(self) -> None:
        """Work it out again and again as entries land, until cancelled."""
        while True:
            news = self._tools.book.watch()
            await self.look()
            await anyio.sleep(self._pace.every_s)
            await news.wait()

    async def look(self) -> None:
        """Work the outlook out now; say an order where units came that none names, and promises that are at risk."""
        state = self._tools.book.state
        if state.begun is None or self._tools.book.clock.now() >= state.begun["closes_us"]:
            self.outlook = None
            return
        await self._learn(state)
        await self._order(state)
        self.outlook = await self.with_changes()
        if self.outlook is not None:
            await self._record(self.outlook)
        for crew in self.outlook.crews if self.outlook is not None else ():
            if crew.at_risk and crew.title not in state.promises_at_risk:
                await self._tell(crew)

    async def with_changes(
        self, story: UnitStory | None = None, turns: Mapping[str, float] | None = None
    ) -> Outlook | None:
        """Return how the rest of the day looks; None where it cannot be foreseen.

        Args:
            story: of a unit as it would be, which stands otherwise or not at all in the entries.
            turns: serial -> priority, instead of the order in force.
        """
        state = self._tools.book.state
        if story is not None:
            state = copy.copy(state)
            state.units = {**state.units, story.serial: story}
        compiled = self._compiled(state, turns)
        if compiled is None:
            return None
        return await self._guarded(outlook_apart(self._apart, compiled, self._tools.seed))

    def _compiled(self, state: DayState, turns: Mapping[str, float] | None = None) -> Compiled | None:
        priorities = turns if turns is not None else {s: float(state.turn(s)) for s in state.units}
        now_us = self._tools.book.clock.now()
        try:
            known = replace(self._known, targets=targets_now(self._tools, state), priorities=priorities)
            compiled = model_now(self._tools.plan, state, now_us, known, replications=self._pace.replications)
        except Exception as error:  # noqa: BLE001 - see _worked_out
            _not_foreseen(error)
            return None
        return compiled if compiled.model.units else None

    async def _learn(self, state: DayState) -> None:
        """Learn from what this simulated record has seen: its protocols' pauses grow with its speed.

        Nothing of it ever teaches a real day, whose laws stay as earlier real days taught them.
        """
        if (state.begun or {}).get("simulated"):
            # Laws are functions of this process, and soon learnt.
            # Read there too: a long day's record takes longer than any line may wait.
            laws = await self._worked_out(partial(_learnt, self._tools.book.entries), in_a_thread)
            self._known = self._known if laws is None else replace(self._known, laws=laws)

    async def _record(self, outlook: Outlook) -> None:
        before = self._tools.book.state.foreseen
        if before and outlook.at_us - before[-1][0] < HOUR_US:
            return
        facts = DayForeseen(
            p50_us=outlook.p50_us,
            p80_us=outlook.p80_us,
            p95_us=outlook.p95_us,
            by_closing_permille=round(outlook.by_closing * 1000),
            units=sum(len(crew.units) for crew in outlook.crews),
        )
        await self._tools.book.append(facts.draft())

    async def _order(self, state: DayState) -> None:
        """Search an order once units wait, or come, that none names."""
        wait = frozenset(s.serial for s in state.units.values() if s.state in WAITS and s.not_today is None)
        if wait <= self._ordered or not wait:
            return
        self._ordered |= wait
        # Whoever was put first stays there; all others are looked at anew.
        compiled = self._compiled(state, {serial: min(float(state.turn(serial)), 0.0) for serial in state.units})
        if compiled is None:
            return
        pace, seed = self._pace, self._tools.seed
        found = await self._worked_out(
            partial(
                search, compiled.model, evaluations=pace.evaluations, draws=pace.draws, seed=seed, crews=compiled.crews
            )
        )
        if found is None or not found.order:
            # Nothing better than first come was found: nothing is said, and that is what holds.
            return
        facts = OrderSet(
            # Those in service among them, in front: the search supposes that they go first where they need hands.
            order=list(found.order),
            why="units came that no order named" if state.order else "the day begins",
            late_us=round(found.late_minutes * MINUTE_US),
            end_us=compiled.clock_us(found.end_minutes),
            first_come_end_us=compiled.clock_us(found.first_come_end_minutes),
            draws=pace.draws,
            seed=seed,
        )
        await self._tools.book.append(facts.draft())

    async def _tell(self, crew: CrewOutlook) -> None:
        """Record once that a promise is at risk, with what would save it."""
        compiled, saves = self._compiled(self._tools.book.state), None
        if compiled is not None:
            few = self._pace.replications // 2
            saves = await self._worked_out(partial(promise_saved, compiled, crew.title, replications=few))
        facts = PromiseAtRisk(
            crew=crew.title,
            units=list(crew.units),
            promised_us=crew.promised_us or 0,
            expected_us=crew.ready_us,
            holds_permille=round((crew.holds or 0.0) * 1000),
            would_save=saves or "",
        )
        await self._tools.book.append(facts.draft())

    async def _worked_out(self, work: Callable[[], T], apart: Apart | None = None) -> T | None:
        """Work something out beside the day; None, and a line in the log, where that goes wrong.

        Units are being written meanwhile: whatever a forecast stumbles over, a day that cannot end as things are or a
        fault of ours, must not stop them.
        """
        return await self._guarded((apart or self._apart)(work))

    async def _guarded(self, found: Awaitable[T]) -> T | None:
        try:
            return await found
        except Exception as error:  # noqa: BLE001 - see _worked_out
            _not_foreseen(error)
            return None


def _learnt(entries: Callable[[], Sequence[Entry]]) -> LawsOf:
    return learnt_by(records_of(told(entries(), simulated=True)))


def _not_foreseen(error: Exception) -> None:
    logger().warning("not foreseen", error=type(error).__name__, words=str(error))
