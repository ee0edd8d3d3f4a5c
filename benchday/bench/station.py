"""One task per station: it takes the next unit, serves it step by step, and is free again."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping

import anyio

from benchday.bench.attempts import look_at_it_anew, put_aside
from benchday.bench.holds import LOOKED_AT_ANEW, Hold, Met, SendOff, trouble, without_rest
from benchday.bench.queue import Withdrawn
from benchday.bench.serving import Serving, Tools
from benchday.bench.silence import plain
from benchday.bench.steps.check import check
from benchday.bench.steps.confirm import confirm
from benchday.bench.steps.connect import connect
from benchday.bench.steps.identify import identify
from benchday.bench.steps.last_look import last_look
from benchday.bench.steps.preserve import preserve
from benchday.bench.steps.restart import restart
from benchday.bench.steps.verify import verify
from benchday.bench.steps.write import write
from benchday.domain.errors import CertificateChanged
from benchday.domain.happenings import TROUBLES, Happening, of_error
from benchday.domain.items import ItemKind
from benchday.domain.kinds import ChargeWanted, StepBegun, StepEnded, UnitSentOff
from benchday.domain.playbook import StepName
from benchday.domain.recovery import ASIDE, MOST_IDENTIFICATIONS, PAUSE_S, Own, row_for
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
_OUTCOMES = {Happening.PERMIT: "refused", Happening.FULL: "full"}
"""How a step ended, where an error ended it; any other: cut."""


class _Anew:
    """The unit is looked at anew."""


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
        ended = await self._timed(at, name)
        if isinstance(ended, Hold):
            await self._hold(at, ended)
            # While the day is being stopped nobody need be there to answer: it is asked when the day is taken up again.
            return None if self._stopping.is_set() else await self._held(at)
        if isinstance(ended, SendOff):
            await self._send_off(at, ended)
            return None
        return ended

    async def _timed(self, at: Serving, name: StepName) -> StepName | Hold | SendOff | None:
        """Run one step between its two entries; what befalls the unit in it is looked up in the table."""
        clock = at.tools.book.clock
        began, mono = clock.now(), clock.monotonic()
        await self._begin(at, name)
        try:
            outcome, following = await self._attempt(at, name)
        finally:
            at.tools.ticks.forget(at.unit)
        # Before the step's end, so that its duration is known for what it is.
        await at.tools.pauses.record(at.tools)
        took, real = clock.now() - began, clock.monotonic() - mono
        facts = StepEnded(step=name.value, outcome=outcome, took_us=max(took, 0), took_mono_us=max(real, 0))
        await at.record(at.draft(facts))
        at.log.info("step ended", step=name.value, outcome=outcome, took_us=facts.took_us)
        if isinstance(following, _Anew):
            await at.let_go()
            await at.tools.pause(PAUSE_S)
            return StepName.IDENTIFY
        return following

    async def _begin(self, at: Serving, name: StepName) -> None:
        # A step that a program which ended had begun already is gone on with, under its first beginning.
        if at.story.state.value == name.value and name is not StepName.IDENTIFY:
            return
        tries = at.story.tries.get(name.value, 0) + 1
        expected = microseconds(at.playbook.step(name).minutes.usual)
        await at.record(at.draft(StepBegun(step=name.value, tries=tries, expected_us=expected)))
        at.log.info("step begun", step=name.value, tries=tries)

    async def _attempt(self, at: Serving, name: StepName) -> tuple[str, StepName | Hold | SendOff | _Anew | None]:
        """Return the step's outcome, and the step that follows or what comes instead of one."""
        try:
            return "done", await STEPS[name](at)
        except SendOff as off:
            if at.story.half_written:
                # It must not be unplugged as one that merely waits.
                return "held", await self._follows(at, name, Met(Happening.SENT_OFF, off.why))
            return "sent off", off
        except Withdrawn:
            return "withdrawn", StepName.CHECK if name is StepName.CONFIRM else name
        except Met as met:
            return "held", await self._follows(at, name, met)
        except TROUBLES as error:
            if isinstance(error, CertificateChanged):
                at.certificate_shown = error.now
            at.log.warning("trouble", step=name.value, error=type(error).__name__, words=str(error))
            happening = of_error(error)
            return _OUTCOMES.get(happening, "cut"), await self._follows(at, name, Met(happening, plain(error)))

    async def _follows(self, at: Serving, name: StepName, met: Met) -> Hold | _Anew:
        """Look up what follows, and record it unless it is a hold, whose entries stand together."""
        stage = met.stage or at.stage(name)
        met = without_rest(at.story, stage, met)
        again = row_for(stage, met.happening).own is Own.LOOK_ANEW
        if again and at.story.tries.get("identify", 0) < MOST_IDENTIFICATIONS:
            await at.record(at.draft(trouble(stage, met, LOOKED_AT_ANEW)))
            return _Anew()
        return Hold(met, stage)

    async def _hold(self, at: Serving, hold: Hold) -> None:
        # Nothing that was given or spent before a hold counts after it.
        at.permit = at.act = None
        await at.let_go()
        # First: a program that ends between the two takes up a unit that is not held yet, and looks at it again.
        await at.tools.queue.void_for(at.unit, "the unit is held")
        await at.record(*hold.drafts(at.story, at.station))

    async def _leaves(self, at: Serving) -> StepName | None:
        """Go on with a unit that was held or sent off and still stands here."""
        if at.story.state is State.HELD:
            return await self._held(at)
        await self._taken_off(at, at.story.not_today or f"it must be charged to {at.story.charge_wanted_percent} %")
        return None

    async def _held(self, at: Serving) -> StepName | None:
        """Have it decided what becomes of a held unit; until then one that must stay connected stays where it is."""
        if at.story.given_up is None and await look_at_it_anew(at):
            return StepName.IDENTIFY
        await at.ask(ItemKind.INSTRUCT, ASIDE.topic, put_aside(at))
        await at.tools.places.free(at.unit, *at.story.places)
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
