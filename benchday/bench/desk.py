"""The desk: what the faces (terminal, pipe, demo, browser) see of the running day, and what they may pass on."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from benchday.bench.aside.checking_in import check_in, walk_in
from benchday.bench.aside.choosing import choose_anew
from benchday.bench.aside.putting_first import check_can_be_next, put_first
from benchday.bench.aside.renewing import check_renewable, renew
from benchday.bench.aside.wanting_back import want_back
from benchday.bench.conversations import Conversations
from benchday.bench.serving import Tools
from benchday.bench.targeting import question_about
from benchday.bench.ticks import Tick
from benchday.domain.cautions import Caution, Every, Moment, cautions_at
from benchday.domain.errors import InputError
from benchday.domain.fold import DayState, ItemState
from benchday.domain.items import LONGEST_TEXT
from benchday.domain.kinds import CautionAcknowledged, OperatorActing, UnitLifted
from benchday.domain.plan import DayPlan
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.planning.forecast.outlook import Outlook
from benchday.planning.gates import waiting_reasons

A_SERIAL = re.compile(r"[A-Za-z0-9][A-Za-z0-9./_-]{2,39}")
"""As on a roster; shorter ones are numbers of items."""
MOST_WALK_INS = 20
"""So many may be asked about at once; a scanner that has gone mad, or a program at the pipe, opens no more."""
"""What is shorter is taken for a slip of the keyboard, not for a walk-in."""


class BenchDesk:
    """Implements the Desk seam, with what a terminal needs besides."""

    def __init__(
        self, tools: Tools, talks: Conversations, stop: Callable[[], str], stop_once: Callable[[], str] | None = None
    ) -> None:
        self._tools = tools
        self._talks = talks
        self._stop = stop
        self._stop_once = stop_once or stop

    @property
    def state(self) -> DayState:
        """The day as its entries tell it; read only."""
        return self._tools.book.state

    @property
    def plan(self) -> DayPlan:
        """The inputs in force."""
        return self._tools.plan

    @property
    def ticks(self) -> Mapping[str, Tick]:
        """The latest tick of each unit in a long operation."""
        return self._tools.ticks.now

    @property
    def outlook(self) -> Outlook | None:
        """How the rest of the day looks, as of the latest forecast; None where nothing is foreseen."""
        return self._tools.foreseer.outlook if self._tools.foreseer is not None else None

    def now(self) -> int:
        """Day time, microseconds since 1970 UTC."""
        return self._tools.book.clock.now()

    def record_waits_s(self) -> int:
        """Return for how many real seconds the record has been writing one entry: nothing goes on meanwhile."""
        return self._tools.book.writes_for_s()

    async def wait_until(self, at_us: int) -> None:
        """Return when the day time is ``at_us`` or later."""
        await self._tools.book.clock.wait_until(at_us)

    def items(self) -> tuple[ItemState, ...]:
        """Return the open items in the order in which hands should take them."""
        return self._tools.queue.ordered()

    def may(self, operator: str, state: ItemState) -> bool:
        """Tell whether an operator may answer an item."""
        return self._tools.queue.may(operator, state.item)

    def waiting_reasons(self) -> Mapping[str, str]:
        """Say for each waiting unit that may not ask for a station yet why that is."""
        return waiting_reasons(self.state, self.plan)

    async def changed(self) -> None:
        """Return when an entry has landed since the call."""
        await self._tools.book.changed()

    async def take(self, item: str, operator: str) -> None:
        """Take an item so that two do not do it twice.

        Raises:
            InputError: somebody else has it, or the operator may not.
        """
        await self._tools.queue.take(item, operator)

    async def answer(self, item: str, value: Mapping[str, Any], operator: str, by: str) -> None:
        """Answer an item; the first answer wins.

        Raises:
            InputError: the answer is not what is wanted, or the operator may not give it.
            AlreadyRecorded: somebody answered before.
        """
        await self._tools.queue.answer(item, value, operator, by)

    async def act_as(self, operator: str, by: str) -> tuple[Caution, ...]:
        """Have an operator act from here on; returns the day's general cautions that they have not acknowledged yet.

        Raises:
            InputError: no such operator on this bench.
        """
        if operator not in {o.name for o in self.plan.bench.operators}:
            known = ", ".join(o.name for o in self.plan.bench.operators)
            raise InputError(f"{operator!r} is not an operator of this bench; operators: {known}")
        if self.state.acting != operator:
            await self._tools.book.append(OperatorActing(name=operator, by=by).draft(operator=operator))
        return tuple(
            c
            for moment in Moment
            for c in cautions_at(moment, self._tools.plan.cautions, None)
            if c.every is Every.DAY and c.when[0] is moment and (operator, c.name) not in self.state.cautions
        )

    async def acknowledge(self, caution: Caution, operator: str) -> None:
        """Record that an operator has read a caution."""
        facts = CautionAcknowledged(caution=caution.name, text=caution.text)
        await self._tools.book.append(facts.draft(operator=operator))

    async def scan(self, code: str) -> str:
        """Take a scanned or typed code: a known unit is found, an unknown one may walk in. It never answers an item.

        Returns:
            what to tell the operator.
        """
        serial = self.serial_in(code)
        story = self.state.units.get(serial)
        if story is None and not A_SERIAL.fullmatch(serial):
            said = f"{serial[:60]!r} is no code of a unit"
            raise InputError(f"{said}; a serial has 3 to 40 letters, digits, hyphens, dots, slashes and underscores")
        if story is None:
            asked_about = self._talks.going_on("walk in")
            if serial not in asked_about and len(asked_about) >= MOST_WALK_INS:
                raise InputError(f"{MOST_WALK_INS} walk-ins are asked about already: answer those first")
            self._talks.begin("walk in", serial, walk_in)
            return f"{serial} is on no roster: a walk-in? See the new item."
        if story.state in (State.EXPECTED, State.ABSENT):
            self._talks.begin("check in", serial, check_in)
            return f"{serial} ({story.model}, crew {story.crew or 'none'}) is expected: check it in."
        where = f"in {story.state.value}" if story.on_station else story.state.value
        where += f" on station {story.station}" if story.station else ""
        told = f"{serial} ({story.model}, crew {story.crew or 'none'})"
        return f"{told} was checked in already; it is {where}."

    def serial_in(self, code: str) -> str:
        """Return the serial that a label's code contains."""
        code = code.strip()
        if code in self.state.units:
            return code
        for playbook in self.plan.playbooks:
            found = playbook.serial_in(code)
            if found in self.state.units:
                return found
        return code

    async def lift(self, serial: str, reason: str, operator: str) -> None:
        """Lift a hold; the unit waits again.

        Raises:
            InputError: the unit is not held, still stands on a station, or no reason was given.
        """
        story = self.state.units.get(serial)
        if story is None or story.state is not State.HELD:
            raise InputError(f"{serial} is not held")
        if story.station is not None:
            raise InputError(f"{serial} is still on station {story.station}: answer its item first")
        if story.taken:
            raise InputError(f"{serial} was taken away as it is")
        if not reason.strip():
            raise InputError("a hold is lifted with a reason")
        if len(reason) > LONGEST_TEXT or any("\ud800" <= c <= "\udfff" for c in reason):
            raise InputError(f"a reason is a text of at most {LONGEST_TEXT} characters")
        await self._tools.book.append(UnitLifted(reason=reason).draft(unit=serial, operator=operator))

    async def renew(self, serial: str) -> str:
        """Let a renewed support term be entered; returns what to tell the operator.

        Raises:
            InputError: no such unit today, or its renewal could change nothing.
        """
        check_renewable(self._known(serial))
        self._talks.begin("renewal", serial, renew)
        return f"When does the support term of {serial} end now, and what shows it? See the new item."

    async def want_back(self, subject: str) -> str:
        """Let the time be entered by which a unit, or the set of a crew, is wanted back; returns what to tell.

        Args:
            subject: serial of a unit, or name of a crew.

        Raises:
            InputError: no such unit or crew today, or it was handed back.
        """
        its = [s for s in self.state.units.values() if subject in (s.serial, s.crew)]
        if not its:
            raise InputError(f"no unit and no crew {subject} today")
        if all(s.state is State.HANDED_BACK for s in its):
            raise InputError(f"{subject} was handed back already")
        self._talks.begin("wanted back", subject, want_back)
        return f"By when is {subject} wanted back? See the new item."

    async def put_next(self, serial: str) -> str:
        """Ask whether a unit shall go before all others, and what that costs; returns what to tell the operator.

        Raises:
            InputError: no such unit today, or it waits for nothing.
        """
        check_can_be_next(self._known(serial))
        self._talks.begin("next", serial, put_first)
        return f"What it costs to let {serial} go first is reckoned. See the new item."

    async def choose(self, crew: str) -> str:
        """Have the choice about a crew's set made anew; returns what to tell the operator.

        Raises:
            InputError: there is no such crew, or nothing to choose.
        """
        crews = sorted({u.crew for u in self.state.units.values() if u.crew})
        if crew not in crews:
            raise InputError(f"no crew {crew} today; crews: {', '.join(crews) or 'none'}")
        if question_about(self._tools, crew) is None:
            raise InputError(f"nothing is to be chosen about the set of crew {crew}: all of it comes along")
        self._talks.begin("choice", crew, choose_anew)
        return f"What shall the set of crew {crew} do? See the new item."

    def _known(self, serial: str) -> UnitStory:
        story = self.state.units.get(serial)
        if story is None:
            raise InputError(f"no unit {serial} today")
        return story

    def stop(self) -> str:
        """Ask the day to stop, as Ctrl-C does; returns what that means now."""
        return self._stop()

    def stop_once(self) -> str:
        """Ask the day to stop as a system does that ends its programs: however often it asks, no write is cut."""
        return self._stop_once()
