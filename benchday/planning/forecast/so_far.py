"""The rest of a day that runs, compiled to the same model: time 0 is now.

A model cannot say that something is held already: units in service stand first in it, and their first stage takes at
time 0 what they hold, for what is left of the step in which they are. Then come those that wait, in the order in which
they have waited, then those expected. What is kept until somebody decides is not in the pools.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from benchday.domain.fold import DayState
from benchday.domain.plan import DayPlan
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.domain.units import Role, RosterRow
from benchday.planning.forecast.batteries import with_second_visit
from benchday.planning.forecast.modelling import (
    Coming,
    Compiled,
    Known,
    LeftOut,
    crew_title,
    crews_of,
    gates_for,
    missing_on,
    pools_for,
)
from benchday.planning.forecast.present import Present, images_left, present
from benchday.planning.forecast.stages import TECHNICIAN, Service
from benchday.planning.gates import STATION, gated, unverified_first
from benchday.planning.model import Model, ModelUnit
from benchday.planning.target import ReasonCode
from benchday.planning.wording import MINUTE_US

_DONE = (State.READY, State.HANDED_BACK)
_NOTHING_TO_WRITE = (ReasonCode.NO_IMAGE.value, ReasonCode.NO_ROUTE.value)
_PAST_THE_CHECK = (State.VERIFY, State.LAST_LOOK)
_NOT_WRITTEN_YET = (
    State.WAITING,
    State.CHARGING,
    State.CONNECT,
    State.IDENTIFY,
    State.CHECK,
    State.PRESERVE,
    State.CONFIRM,
)


def model_now(plan: DayPlan, state: DayState, now_us: int, known: Known, *, replications: int = 1000) -> Compiled:
    """Compile the rest of a day.

    Args:
        plan: the day's inputs as accepted.
        state: of the day, by its entries.
        now_us: day time.
        known: targets of units that have none yet, and what earlier days say.
        replications: to be written into the model.
    """
    rest = _Rest(plan, state, now_us, known)
    rest.look()
    candidates = [c for p in rest.present if (c := p.candidate(now_us)) is not None]
    candidates += [c.candidate for c in rest.coming if c.candidate is not None]
    gates = gates_for(plan, candidates, state.verified)
    units = (*(p.unit(gates, now_us) for p in rest.present), *(c.unit(gates, rest.close) for c in rest.coming))
    stories = tuple(state.units.values())
    promised = {s.serial: s.promised_us for s in stories if s.promised_us is not None}
    pools = tuple(replace(pool, count=rest.free[pool.name]) for pool in pools_for(plan, now_us) if rest.free[pool.name])
    return Compiled(
        model=Model(pools, tuple(rest.promised(unit) for unit in units), rest.close, replications, known.seed),
        at_us=now_us,
        crews=crews_of(map(row_of, stories), {u.id for u in units}),
        left_out=tuple(rest.left_out),
        not_coming={c.row.serial: c.not_coming(gates) for c in rest.coming},
        promised_us=promised,
        wanted_back={s.serial: s.wanted_back_us for s in stories if s.wanted_back_us is not None},
        ready_us={title: tuple(times) for title, times in rest.ready_us.items()},
    )


def row_of(story: UnitStory) -> RosterRow:
    """Return a unit as the roster has it, with edits accepted since; its times of day are in the story."""
    role = Role(story.role) if story.role else Role.NONE
    return RosterRow(story.serial, story.model, story.customer, "", story.crew, role, None, None, story.support_until)


@dataclass(slots=True)
class _Rest:
    """The units of a day by what they are to the model of its rest."""

    plan: DayPlan
    state: DayState
    now_us: int
    known: Known
    coming: list[Coming] = field(default_factory=list)
    present: list[Present] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    ready_us: dict[str, list[int]] = field(default_factory=dict)
    free: dict[str, int] = field(default_factory=dict)
    """Pool -> what is not kept until somebody decides."""

    @property
    def close(self) -> float:
        """Minutes until closing."""
        return float(((self.state.begun or {})["closes_us"] - self.now_us) / MINUTE_US)

    def promised(self, unit: ModelUnit) -> ModelUnit:
        """Return a unit with the time by which it was promised."""
        promised_us = self.state.units[unit.id].promised_us
        return unit if promised_us is None else replace(unit, promised=(promised_us - self.now_us) / MINUTE_US)

    def look(self) -> None:
        """Sort all units."""
        pools = pools_for(self.plan, self.now_us)
        self.free = {pool.name: pool.count for pool in pools}
        resting = any(pool.resting(0.0) for pool in pools)
        for story in self.state.units.values():
            if story.state is State.EXPECTED:
                self._expect(story)
            elif story.state in _DONE:
                ready = self.ready_us.setdefault(crew_title(story.crew, story.customer), [])
                ready.append(story.ready_us or story.ended_us or self.now_us)
            else:
                self._take(story, resting=resting)
        self.present.sort(key=lambda unit: unit.order)
        self._share_hands()
        self.present.sort(key=lambda unit: unit.order)
        while self._leave_out_who_lacks():
            pass

    def _expect(self, story: UnitStory) -> None:
        due_us = self.state.begun["opens_us"] if self.state.begun and story.arrives_us is None else story.arrives_us
        due = ((due_us if due_us is not None else self.now_us) - self.now_us) / MINUTE_US
        coming = Coming.of(
            self.plan,
            self.known,
            row_of(story),
            max(due, 0.0),
            story.position,
            late_by=max(-due, 0.0),
            sooner=self._sooner(story),
        )
        self.left_out += coming.left_out
        if coming.missing is None:
            self.coming.append(coming)

    def _take(self, story: UnitStory, *, resting: bool) -> None:
        """Take a unit that has been here, if something is still to be done on it."""
        service = self._service(story)
        out = next(_reasons(self.plan, self.state, story, service), None)
        if out is not None:
            self.left_out.append(out)
        if service is None or (out is not None and not story.places):
            return
        if out is not None and story.on_station and story.state is not State.HELD:
            self._keep(story)
            return
        # Below all others: what it holds is its own at minute 0, whatever an order says.
        lowest = min([0.0, *self.known.priorities.values()]) - 1.0
        priority = lowest if STATION in story.places else self.known.priorities.get(story.serial, 0.0)
        self.present.append(
            present(self.plan, self.state, story, service, self.now_us, priority=priority, resting=resting)
        )

    def _share_hands(self) -> None:
        """Let no more steps be under way than there are hands: of the others nobody can say that they have begun."""
        hands = self.free[TECHNICIAN]
        for number, here in enumerate(self.present):
            if here.attended:
                hands -= 1
                if hands < 0:
                    self.present[number] = here.not_attended()

    def _keep(self, story: UnitStory) -> None:
        """Let a unit keep its places: nobody else gets them before somebody decides."""
        for pool in story.places:
            self.free[pool] -= 1

    def _leave_out_who_lacks(self) -> bool:
        """Leave out whoever waits for a pool of which nothing is left; tell whether anybody was."""
        for coming in self.coming:
            service = coming.service
            if service is not None and (lack := self._lack(service, {})) is not None:
                self.coming.remove(coming)
                self.left_out.append(LeftOut(coming.row.serial, lack))
                return True
        for here in self.present:
            if here.begin is not None and (lack := self._lack(here.service, here.story.places)) is not None:
                self.present.remove(here)
                self.left_out.append(LeftOut(here.story.serial, lack))
                self._keep(here.story)
                return True
        return False

    def _lack(self, service: Service, held: dict[str, str]) -> str | None:
        for pool in (STATION, service.joined_by):
            if pool is not None and pool not in held and not self.free.get(pool):
                return f"it waits for {pool}, and a unit that waits for a decision keeps the last"
        return None

    def _service(self, story: UnitStory) -> Service | None:
        """Return what is still to be done on a unit in the house."""
        playbook = self.plan.playbook_for(story.model)
        if playbook is None:
            return None
        service = Service(
            model=story.model,
            playbook=playbook,
            images=images_left(self.plan, story),
            recordings_bytes=self._to_copy(story),
            laws=self.known.laws,
            records=self.known.records,
            seed=self.known.seed,
            sooner=self._sooner(story),
            stops=story.reason_code in _NOTHING_TO_WRITE and not story.route and story.state not in _PAST_THE_CHECK,
        )
        return with_second_visit(self.plan.bench, service, self.known.habits.low_battery)

    def _sooner(self, story: UnitStory) -> float:
        """Return how many minutes before closing its crew wants it back."""
        if story.wanted_back_us is None:
            return 0.0
        return max(self.close - (story.wanted_back_us - self.now_us) / MINUTE_US, 0.0)

    def _to_copy(self, story: UnitStory) -> int:
        """Return the bytes of recordings that are still to be copied off, as far as is known."""
        if story.identity is not None:
            done = {*story.preserved, *story.let_go}
            return sum(r["bytes"] for r in story.recordings if r["name"] not in done)
        expected = self.known.recordings.expect(row_of(story))
        return expected.bytes if expected is not None else 0


def _reasons(plan: DayPlan, state: DayState, story: UnitStory, service: Service | None) -> Iterator[LeftOut]:
    """Yield why a unit will not be served to its end, as things are."""
    serial = story.serial
    if service is None:
        yield LeftOut(serial, "no playbook covers it")
        return
    if story.state is State.ABSENT:
        yield LeftOut(serial, "it is absent", stops=False)
    if story.state is State.HELD:
        yield LeftOut(serial, f"it is held: {story.held_reason}")
    if story.not_today is not None:
        yield LeftOut(serial, f"it is not begun today: {story.not_today}")
    if story.state not in _NOT_WRITTEN_YET:
        return
    if story.state is State.WAITING and not story.places:
        reason = gated(state, story, plan)
        # The first of its kind is waited for in the model; a line and a set need a person.
        if reason is not None and reason != unverified_first(state, story, plan):
            yield LeftOut(serial, reason)
    elif story.route and (story.model, story.target) in state.lines_stopped:
        yield LeftOut(serial, f"the line {story.model} {story.target} is stopped")
    if story.charge_wanted_percent is not None and not plan.bench.chargers:
        yield LeftOut(serial, "it must be charged, and the bench has no charger")
    missing = missing_on(plan.bench, service)
    if missing is not None:
        yield LeftOut(serial, missing)
