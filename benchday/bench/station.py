"""One task per station: it takes the next unit, serves it step by step, and is free again."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping

import anyio

from benchday.bench.holds import INTERRUPTED, Hold, SendOff
from benchday.bench.queue import Withdrawn
from benchday.bench.serving import Serving, Tools
from benchday.bench.steps.check import check
from benchday.bench.steps.confirm import confirm
from benchday.bench.steps.connect import connect
from benchday.bench.steps.identify import identify
from benchday.bench.steps.last_look import last_look
from benchday.bench.steps.preserve import preserve
from benchday.bench.steps.restart import restart
from benchday.bench.steps.verify import verify
from benchday.bench.steps.write import write
from benchday.domain.cautions import Moment
from benchday.domain.errors import DeviceError, PermitRefused, RecordFull
from benchday.domain.items import ItemKind, Wanted, WantedKind
from benchday.domain.kinds import ChargeWanted, StepBegun, StepEnded, UnitHeld, UnitSentOff
from benchday.domain.playbook import StepName
from benchday.domain.steps import NO_SAFE_STOP, State
from benchday.domain.story import UnitStory
from benchday.domain.words import microseconds
from benchday.logs import logger
from benchday.planning.gates import STATION

Step = Callable[[Serving], Awaitable[StepName | None]]

STEPS: Mapping[StepName, Step] = {
    StepName.CONNECT: connect,
    StepName.IDENTIFY: identify,
    StepName.CHECK: check,
    StepName.PRESERVE: preserve,
    StepName.CONFIRM: confirm,
    StepName.WRITE: write,
    StepName.RESTART: restart,
    StepName.VERIFY: verify,
    StepName.LAST_LOOK: last_look,
}
"""Name -> what it does."""

FINISH_A_WRITE = (StepName.RESTART, StepName.VERIFY)
"""What belongs to a write that is let finish when the day is stopped."""
MOST_IDENTIFICATIONS = 6
"""How often a unit is identified anew in one visit before its line is taken for broken."""


class Station:
    """A place at which one unit at a time is served."""

    def __init__(self, tools: Tools, name: str, stopping: anyio.Event) -> None:
        self.name = name
        self._tools = tools
        self._stopping = stopping
        self._scope = anyio.CancelScope()
        self._log = logger().bind(station=name)

    async def run(self) -> None:
        """Serve unit after unit until the day is stopped or the task is cancelled."""
        await self._take_up()
        idle = self._tools.places.idle
        while not self._stopping.is_set():
            idle.append(self.name)
            self._tools.book.nudge()
            try:
                await self._tools.book.until(lambda: self._unit() is not None or self._stopping.is_set())
            finally:
                idle.remove(self.name)
            unit = self._unit()
            if unit is not None:
                await self._serve(unit, StepName.CONNECT)

    def stop(self) -> None:
        """Begin no new step; leave the unit where it is unless it is in a step without a safe stop."""
        unit = self._unit()
        story = self._tools.book.state.units.get(unit or "")
        if story is None or story.state not in NO_SAFE_STOP:
            self._scope.cancel()

    def cut(self) -> None:
        """End at once, whatever the unit is in; what is half written is held as interrupted afterwards."""
        for scope in self._tools.no_safe_stop.pop(self.name, ()):
            scope.shield = False
        self._scope.cancel()

    def asks(self) -> bool:
        """Tell whether the unit here waits for an answer."""
        unit = self._unit()
        return any(i.item.unit == unit and i.item.station == self.name for i in self._tools.book.state.open_items())

    async def _take_up(self) -> None:
        """Go on with the unit that a program which ended left here."""
        unit = self._unit()
        if unit is None:
            return
        story = self._tools.book.state.units[unit]
        state = story.state
        if state is State.WAITING and story.sent_off:
            await self._serve(unit, None)
        elif state is State.WAITING:
            await self._serve(unit, StepName.CONNECT)
        elif state is State.HELD:
            await self._serve(unit, None)
        elif state in (State.READY, State.HANDED_BACK):
            await self._tools.places.free(unit, *self._tools.book.state.units[unit].places)
        else:
            await self._serve(unit, _again_from(self._tools.book.state.units[unit]))

    def _unit(self) -> str | None:
        return self._tools.book.state.holder(STATION, self.name)

    async def _serve(self, unit: str, first: StepName | None) -> None:
        """Serve a unit; ``None`` as the first step takes up a hold, or the way off the station."""
        story = self._tools.book.state.units[unit]
        playbook = self._tools.plan.playbook_for(story.model)
        if playbook is None:
            raise LookupError(f"no playbook covers {story.model}")
        at = Serving(self._tools, unit, self.name, playbook, log=self._log.bind(unit=unit))
        try:
            with anyio.CancelScope() as self._scope:
                step: StepName | None = await self._leaves(at) if first is None else first
                while step is not None and self._may_begin(step):
                    step = await self._step(at, step)
        finally:
            await at.let_go()
            self._tools.ticks.forget(unit)

    def _may_begin(self, step: StepName) -> bool:
        """Once the day is being stopped no step begins but those that a write has to be finished with."""
        return not self._stopping.is_set() or step in FINISH_A_WRITE

    async def _step(self, at: Serving, name: StepName) -> StepName | None:
        try:
            return await self._timed(at, name)
        except Hold as hold:
            await self._hold(at, hold)
            # While the day is being stopped nobody need be there to answer: it is asked when the day is taken up again.
            return None if self._stopping.is_set() else await self._held(at)
        except SendOff as off:
            await self._send_off(at, off)
            return None

    async def _timed(self, at: Serving, name: StepName) -> StepName | None:
        """Run one step between its two entries; a line that fails in a step that is safe to repeat is tried again."""
        clock = at.tools.book.clock
        began, mono = clock.now(), clock.monotonic()
        await self._begin(at, name)
        try:
            outcome, following, instead = await self._attempt(at, name)
        finally:
            at.tools.ticks.forget(at.unit)
        # Before the step's end, so that its duration is known for what it is.
        await at.tools.pauses.record(at.tools)
        took, real = clock.now() - began, clock.monotonic() - mono
        facts = StepEnded(step=name.value, outcome=outcome, took_us=max(took, 0), took_mono_us=max(real, 0))
        await at.record(at.draft(facts))
        at.log.info("step ended", step=name.value, outcome=outcome, took_us=facts.took_us)
        if outcome == "cut":
            await at.let_go()
        if instead is not None:
            raise instead
        return following

    async def _begin(self, at: Serving, name: StepName) -> None:
        # A step that a program which ended had begun already is gone on with, under its first beginning.
        if at.story.state.value == name.value and name is not StepName.IDENTIFY:
            return
        tries = at.story.tries.get(name.value, 0) + 1
        expected = microseconds(at.playbook.step(name).minutes.usual)
        await at.record(at.draft(StepBegun(step=name.value, tries=tries, expected_us=expected)))
        at.log.info("step begun", step=name.value, tries=tries)

    async def _attempt(self, at: Serving, name: StepName) -> tuple[str, StepName | None, Hold | SendOff | None]:
        """Return the step's outcome, the step that follows, and what comes instead of one."""
        try:
            return "done", await STEPS[name](at), None
        except Hold as hold:
            return "held", None, hold
        except SendOff as off:
            return "sent off", None, off
        except DeviceError as cut:
            at.log.warning("line failed", step=name.value, error=type(cut).__name__, words=str(cut))
            again = self._again(at, name, cut)
            return ("cut", None, again) if isinstance(again, Hold) else ("cut", again, None)
        except PermitRefused as refused:
            at.log.warning("permit refused", step=name.value, why=str(refused))
            return "refused", None, Hold("refused", str(refused), "an operator looks and confirms anew")
        except Withdrawn:
            return "withdrawn", StepName.CHECK if name is StepName.CONFIRM else name, None
        except RecordFull as full:
            at.log.warning("disk full", step=name.value, words=str(full))
            return "full", None, Hold("full", f"{full}; nothing was lost", "room is made on the disk")

    def _again(self, at: Serving, name: StepName, cut: DeviceError) -> StepName | Hold:
        if name in (StepName.WRITE, StepName.RESTART):
            # The steps themselves hold what may be half written; what comes here failed before the act was spent.
            return Hold("line", f"the line failed before anything was written ({cut})", "the line is put right")
        if at.story.tries.get("identify", 0) >= MOST_IDENTIFICATIONS:
            reason = f"the line keeps failing in {name.value} ({cut})"
            return Hold("line", reason, "another cable is tried, or a person looks")
        return StepName.IDENTIFY

    async def _hold(self, at: Serving, hold: Hold) -> None:
        await at.let_go()
        facts = UnitHeld(code=hold.code, reason=hold.reason, lifts=hold.lifts)
        await at.record(at.draft(facts))
        await at.tools.queue.void_for(at.unit, "the unit is held")

    async def _leaves(self, at: Serving) -> StepName | None:
        """Go on with a unit that was held or sent off and still stands here."""
        if at.story.state is State.HELD:
            return await self._held(at)
        await self._taken_off(at, at.story.not_today or f"it must be charged to {at.story.charge_wanted_percent} %")
        return None

    async def _held(self, at: Serving) -> StepName | None:
        """Decide what becomes of a held unit: a half-written one stays where it is until a person decides."""
        story = at.story
        if story.held_code == INTERRUPTED:
            answered = await at.ask(
                ItemKind.DECIDE,
                "interrupted",
                f"DO NOT SWITCH OFF unit {at.unit} on station {at.station}: {story.held_reason}.",
                Wanted("answer", "identify anew or leave held", WantedKind.CHOICE, ("identify anew", "leave held")),
                Wanted("reason", "why", required=False),
                safety=True,
                moment=Moment.INTERRUPTED,
            )
            if answered.text("answer") == "identify anew":
                return StepName.IDENTIFY
        text = f"Set unit {at.unit} aside from station {at.station}: {story.held_reason}. Lifts it: {story.held_lifts}."
        await at.ask(ItemKind.INSTRUCT, "set aside", text)
        await at.tools.places.free(at.unit, *story.places)
        return None

    async def _send_off(self, at: Serving, off: SendOff) -> None:
        await at.let_go()
        drafts = [at.draft(UnitSentOff(why=off.why, for_today=off.for_today))]
        if off.charge_percent is not None:
            drafts.append(at.draft(ChargeWanted(percent=off.charge_percent, why=off.why)))
        await at.record(*drafts)
        await self._taken_off(at, off.why)

    async def _taken_off(self, at: Serving, why: str) -> None:
        await at.ask(ItemKind.INSTRUCT, "send off", f"Take unit {at.unit} off station {at.station}: {why}.")
        await at.tools.places.free(at.unit, *at.story.places)


def _again_from(story: UnitStory) -> StepName:
    """Return the step with which to go on after a restart: the unit is identified anew, unless it is past its line."""
    if story.state is State.CONNECT:
        return StepName.CONNECT
    # Verified, it gave its cable or adapter back, and may be unplugged already: nothing more is asked of the unit.
    gave_back = story.served_with is not None and story.served_with not in story.places.values()
    if story.state is State.LAST_LOOK or (story.state is State.VERIFY and story.verified and gave_back):
        return StepName.LAST_LOOK
    return StepName.IDENTIFY
