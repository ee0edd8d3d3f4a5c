"""A day compiled to the dispatch policy's model before it begins: time 0 is when the day opens, times are minutes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from benchday.domain.bench import BenchFile
from benchday.domain.checks import Answer, worst
from benchday.domain.plan import DayPlan
from benchday.domain.playbook import Playbook
from benchday.domain.units import Ability, RosterRow
from benchday.planning.disk_room import Earlier
from benchday.planning.forecast.batteries import charge_after_all, charge_stage, with_second_visit
from benchday.planning.forecast.gating import NO_GATES, Candidate, Gates, gates_of
from benchday.planning.forecast.habits import Habits
from benchday.planning.forecast.stages import TECHNICIAN, LawsOf, Records, Service, playbook_laws
from benchday.planning.gates import pools_of
from benchday.planning.laws import Fixed, Law, Remaining, Retried
from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.policy import Phase, Pool
from benchday.planning.target import Target
from benchday.planning.wording import MINUTE_US

A_DAY = 1440.0
"""Minutes; nobody is as late as that."""


@dataclass(frozen=True, slots=True)
class Known:
    """What a forecast rests on besides the day's files."""

    targets: Mapping[str, Target]
    """Serial -> what each unit of the roster should get."""
    percent: Mapping[str, int] = field(default_factory=dict)
    """Serial -> charge with which it came the last time."""
    recordings: Earlier = field(default_factory=Earlier)
    habits: Habits = field(default_factory=Habits)
    laws: LawsOf = playbook_laws
    records: Records = field(default_factory=dict)
    """For the guard of a write, as the live check takes them."""
    priorities: Mapping[str, float] = field(default_factory=dict)
    """Serial -> priority, where it is not 0 as on the live bench."""
    seed: int = 1


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A unit that is not in the model, or is set aside in it."""

    serial: str
    reason: str
    stops: bool = True
    """Something has to be put right; else it is done, or known not to be served today."""


@dataclass(frozen=True, slots=True)
class Compiled:
    """A model, and what it means."""

    model: Model
    at_us: int
    """Day time of the model's minute 0."""
    crews: Mapping[str, tuple[str, ...]]
    """Crew's title -> serials of its units in the model."""
    left_out: tuple[LeftOut, ...] = ()
    not_coming: Mapping[str, float] = field(default_factory=dict)
    """Serial -> chance in the model that it does not come."""
    promised_us: Mapping[str, int] = field(default_factory=dict)
    """Serial -> day time by which it was promised."""
    wanted_back: Mapping[str, int] = field(default_factory=dict)
    """Serial -> day time by which its crew wants it back, earlier than the day's end."""
    ready_us: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    """Crew's title -> day times at which units of it that are done were ready."""

    def clock_us(self, minutes: float) -> int:
        """Return the day time of a model's minute."""
        return self.at_us + round(minutes * MINUTE_US)


def crew_title(crew: str, customer: str) -> str:
    """Return what a crew is called; units without a crew belong together by customer."""
    return f"crew {crew}" if crew else f"{customer}, no crew"


def model_before(plan: DayPlan, known: Known, *, replications: int = 1000) -> Compiled:
    """Compile a day that has not begun.

    Args:
        plan: the day's inputs.
        known: targets, and what earlier days say.
        replications: to be written into the model.
    """
    opens_us = plan.at_us(plan.hours.opens)
    close = (plan.at_us(plan.hours.closes) - opens_us) / MINUTE_US
    arrivals = [(plan.at_us(row.arrives) - opens_us) / MINUTE_US if row.arrives else 0.0 for row in plan.roster]
    comings = [Coming.of(plan, known, row, arrivals[number], number) for number, row in enumerate(plan.roster)]
    served = [c for c in comings if c.missing is None]
    gates = gates_for(plan, (c.candidate for c in served if c.candidate is not None))
    units = tuple(c.unit(gates, close) for c in served)
    promised = {r.serial: plan.at_us(r.promised) for r in plan.roster if r.promised}
    return Compiled(
        model=Model(
            pools_for(plan, opens_us),
            tuple(replace(u, promised=_minutes(promised.get(u.id), opens_us)) for u in units),
            close,
            replications,
            known.seed,
        ),
        at_us=opens_us,
        crews=crews_of(plan.roster, {unit.id for unit in units}),
        left_out=tuple(out for c in comings for out in c.left_out),
        not_coming={c.row.serial: c.not_coming(gates) for c in served},
        promised_us=promised,
    )


def _minutes(us: int | None, zero_us: int) -> float | None:
    return None if us is None else (us - zero_us) / MINUTE_US


def crews_of(rows: Iterable[RosterRow], serials: set[str]) -> Mapping[str, tuple[str, ...]]:
    """Return crew's title -> those of its units that are among the serials."""
    crews: dict[str, list[str]] = {}
    for row in rows:
        if row.serial in serials:
            crews.setdefault(crew_title(row.crew, row.customer), []).append(row.serial)
    return {title: tuple(units) for title, units in crews.items()}


def pools_for(plan: DayPlan, zero_us: int) -> tuple[Pool, ...]:
    """Return the bench's pools, those that have anything; breaks from this day time on."""
    places = tuple(Pool(name, len(names), Phase.PLACES) for name, names in pools_of(plan.bench).items() if names)
    ends = [((plan.at_us(b.start) - zero_us) / MINUTE_US, (plan.at_us(b.end) - zero_us) / MINUTE_US)
            for b in plan.bench.breaks]  # fmt: skip
    breaks = tuple((max(start, 0.0), end) for start, end in ends if end > 0)
    return (*places, Pool(TECHNICIAN, len(plan.bench.operators), Phase.HANDS, breaks))


def gates_for(plan: DayPlan, units: Iterable[Candidate], verified: Iterable[tuple[str, str]] = ()) -> Gates:
    """Return the gates of a day; none where the first of a kind need not be verified."""
    return gates_of(units, verified) if plan.day.policy.first_off else NO_GATES


def missing_on(bench: BenchFile, service: Service) -> str | None:
    """Say what the bench lacks to serve a unit at all; None if nothing."""
    pool = service.joined_by
    if pool is not None and not pools_of(bench).get(pool):
        return f"the bench has no {pool.replace('cable:', 'cable with connector ')}"
    if service.images and not any(Ability.CONFIRM in operator.may for operator in bench.operators):
        return "no operator of the bench may confirm a write"
    return None


def stop_of(target: Target) -> str | None:
    """Say why nothing can be written to a unit; None if its target does not stop it."""
    if worst(target.findings) is not Answer.STOP:
        return None
    return "; ".join(f.text for f in target.findings if f.answer is Answer.STOP)


@dataclass(frozen=True, slots=True)
class Coming:
    """An expected unit."""

    row: RosterRow
    arrival: float
    """Minutes after time 0, by the roster."""
    late: Law
    """Minutes after that, drawn."""
    chance: float
    """That it does not come."""
    before: tuple[Stage, ...]
    """What comes before it asks for a station, besides being late."""
    service: Service | None
    priority: float
    position: int
    missing: str | None
    stop: str | None

    @classmethod
    def of(
        cls,
        plan: DayPlan,
        known: Known,
        row: RosterRow,
        arrival: float,
        position: int,
        *,
        late_by: float = 0.0,
        sooner: float = 0.0,
    ) -> Coming:
        """Look at a unit of the roster.

        Args:
            plan: the day's inputs.
            known: what the forecast rests on.
            row: its line.
            arrival: minutes after time 0, by the roster.
            position: its place in the list of units.
            late_by: minutes that it is late already at time 0.
            sooner: minutes before closing by which its crew wants it back.
        """
        target, playbook = known.targets.get(row.serial), plan.playbook_for(row.model)
        service = _service(known, row, playbook, target, sooner)
        percent = known.percent.get(row.serial)
        charge = charge_stage(plan.bench, service, percent) if service is not None else None
        late = known.habits.lateness(row.customer, row.crew)
        missing = "no playbook covers it" if service is None else missing_on(plan.bench, service)
        if charge is not None and not plan.bench.chargers:
            missing = missing or f"it came with {percent} % charge the last time, and the bench has no charger"
        return cls(
            row=row,
            arrival=arrival,
            late=Remaining(late, late_by) if late_by > 0 else late,
            chance=known.habits.not_coming(row.customer),
            before=_batteries(plan, known, service, charge),
            service=with_second_visit(plan.bench, service, known.habits.low_battery) if service is not None else None,
            priority=known.priorities.get(row.serial, 0.0),
            position=position,
            missing=missing,
            stop=stop_of(target) if target is not None else None,
        )

    @property
    def candidate(self) -> Candidate | None:
        """It as one that may be first of its kind; None if nothing is written to it."""
        if self.service is None or not self.service.images:
            return None
        at = self.arrival + self.late.mean + sum(stage.law.mean for stage in self.before)
        releases = tuple(image.release for image in self.service.images)
        return Candidate(self.row.serial, self.row.model, releases, (max(at, 0.0), self.priority, self.position))

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Why it cannot be served, if it cannot."""
        reason = self.missing or self.stop
        return (LeftOut(self.row.serial, reason),) if reason is not None else ()

    def not_coming(self, gates: Gates) -> float:
        """Return the chance that it does not come; none where others wait for it."""
        unit = self.candidate
        return 0.0 if unit is not None and gates.first(unit) else self.chance

    def unit(self, gates: Gates, close: float) -> ModelUnit:
        """Return it as the model has it."""
        assert self.service is not None  # noqa: S101 - units without a playbook are left out
        unit, service = self.candidate, self.service
        if unit is not None:
            service = replace(service, waits_for=gates.waits_for(unit), opens=gates.opens(unit))
        chance = self.not_coming(gates)
        # One that does not come comes a day after closing: the guard of its first stage at a station keeps it out.
        never = Fixed(max(close - self.arrival, 0.0) + A_DAY)
        late = Stage("late", (), (), Retried(self.late, chance, never) if chance else self.late)
        return ModelUnit(
            self.row.serial, max(self.arrival, 0.0), self.priority, (late, *self.before, *service.stages())
        )


def _batteries(plan: DayPlan, known: Known, service: Service | None, charge: Stage | None) -> tuple[Stage, ...]:
    """Return what charging comes before the station: the one that is expected, else the chance of one after all."""
    if charge is not None or service is None:
        return (charge,) if charge is not None else ()
    after_all = charge_after_all(plan.bench, service, known.habits.low_battery)
    return (after_all,) if after_all is not None else ()


def _service(
    known: Known, row: RosterRow, playbook: Playbook | None, target: Target | None, sooner: float
) -> Service | None:
    if playbook is None:
        return None
    stops = target is not None and stop_of(target) is not None
    expected = known.recordings.expect(row)
    return Service(
        model=row.model,
        playbook=playbook,
        images=target.images if target is not None and not stops else (),
        recordings_bytes=expected.bytes if expected is not None else 0,
        laws=known.laws,
        records=known.records,
        seed=known.seed,
        sooner=sooner,
        stops=stops,
    )
