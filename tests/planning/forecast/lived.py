"""A day lived exactly as the engine ran it, written down as the bench would: to be compiled anew at any moment."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from benchday.domain.entries import Draft, Entry, Times
from benchday.domain.fold import DayState
from benchday.domain.items import Item, ItemKind
from benchday.domain.kinds import (
    ActEnded,
    ActSpent,
    DayBegun,
    ItemAnswered,
    ItemAsked,
    PlaceFreed,
    PlaceGranted,
    StepBegun,
    StepEnded,
    TargetSet,
    UnitArrived,
    UnitExpected,
    UnitIdentified,
    UnitReady,
    UnitVerified,
)
from benchday.domain.kinds_unit import CheckedIn
from benchday.domain.plan import DayPlan
from benchday.domain.units import RosterRow
from benchday.planning.engine import Day
from benchday.planning.forecast.modelling import Compiled, Known
from benchday.planning.model import ModelUnit
from benchday.planning.target import Target

MINUTE_US = 60_000_000
CAME = CheckedIn(
    brought_by_ref=None,
    condition_ref=None,
    missing=[],
    consent_release=True,
    consent_erase=True,
    consent_copy=True,
    keep_days=30,
    charge_percent=None,
)


@dataclass(slots=True)
class Lived:
    """The entries of a day, by the time at which they were made."""

    plan: DayPlan
    known: Known
    told: list[tuple[int, int, Draft]] = field(default_factory=list)

    def at(self, us: int, draft: Draft) -> None:
        """Note an entry."""
        self.told.append((us, len(self.told), draft))

    def entries(self) -> Iterator[Entry]:
        """Yield the entries in order of time."""
        prev = bytes(32)
        for seq, (at_us, _, draft) in enumerate(sorted(self.told, key=lambda t: t[:2]), 1):
            entry = Entry.forge(draft, bench="bench-1", seq=seq, times=Times(at_us, at_us, at_us), prev=prev)
            prev = entry.digest
            yield entry

    def state(self, until_us: int) -> DayState:
        """Return the state of the day when everything up to a time has happened."""
        state = DayState()
        for entry in self.entries():
            if entry.at_us <= until_us:
                state.apply(entry)
        return state

    def begin(self) -> None:
        """Begin the day."""
        opens, closes = self.plan.at_us(self.plan.hours.opens), self.plan.at_us(self.plan.hours.closes)
        facts = DayBegun(
            day=self.plan.day.day, date=self.plan.hours.date, opens_us=opens, closes_us=closes,
            time_zone=self.plan.day.time_zone, simulated=False, seed=1, speed_milli=1000,
        )  # fmt: skip
        self.at(opens, facts.draft())
        for position, row in enumerate(self.plan.roster):
            self.at(opens, _expected(self.plan, row, position).draft(unit=row.serial))

    def live(self, unit: ModelUnit, day: Day, number: int, zero_us: int) -> None:
        """Live one unit."""
        us = [(zero_us + round(s * MINUTE_US), zero_us + round(e * MINUTE_US)) for s, e in _spans(day, number)]
        target = self.known.targets[unit.id]
        for stage, (start, end) in zip(unit.stages, us, strict=True):
            for pool in stage.takes:
                if pool != "technician":
                    self.at(start, PlaceGranted(pool=pool, place=f"{pool} of {unit.id}").draft(unit=unit.id))
            self._step(unit.id, stage.name, start, end, target)
            for pool in stage.frees:
                if pool != "technician":
                    self.at(end, PlaceFreed(pool=pool, place=f"{pool} of {unit.id}").draft(unit=unit.id))

    def _step(self, serial: str, name: str, start: int, end: int, target: Target) -> None:
        if name == "late":
            self.at(end, UnitArrived(checked_in=CAME).draft(unit=serial))
            self.at(end, _aim(target, target.route).draft(unit=serial))
            return
        self.at(start, StepBegun(step=name, tries=1, expected_us=MINUTE_US).draft(unit=serial))
        if name in ("connect", "confirm"):
            kind = ItemKind.CONFIRM if name == "confirm" else ItemKind.INSTRUCT
            item = Item(id=f"{serial} {name}", kind=kind, topic=name, text=name, unit=serial, asked_us=start)
            self.at(start, ItemAsked(item=item.as_facts()).draft(unit=serial))
            self.at(end, ItemAnswered(id=item.id, value={}, by="person").draft(unit=serial, operator="Ines Halloran"))
        if name == "identify":
            self.at(end, _identity(serial, target.now or "").draft(unit=serial))
        if name == "write":
            self.at(start, _spent(target).draft(unit=serial))
            ended = ActEnded(permit="p", act=0, outcome="whole", bytes=1, sha256="")
            self.at(end, ended.draft(unit=serial))
        if name == "verify":
            self.at(end, _verified(target).draft(unit=serial))
        took = end - start
        self.at(end, StepEnded(step=name, outcome="done", took_us=took, took_mono_us=took).draft(unit=serial))
        if name == "last look":
            self.at(end, UnitReady(words="").draft(unit=serial))


def lived(plan: DayPlan, known: Known, compiled: Compiled, day: Day) -> Lived:
    """Write a day down that went as the engine ran it."""
    told = Lived(plan, known)
    told.begin()
    for number, unit in enumerate(compiled.model.units):
        told.live(unit, day, number, compiled.at_us)
    return told


def finish_of(compiled: Compiled, day: Day) -> Mapping[str, float | None]:
    """Return when each unit was done, minutes."""
    return {unit.id: finish for unit, finish in zip(compiled.model.units, day.finish, strict=True)}


def _spans(day: Day, number: int) -> list[tuple[float, float]]:
    return list(zip(day.starts[number], day.ends[number], strict=True))


def _expected(plan: DayPlan, row: RosterRow, position: int) -> UnitExpected:
    return UnitExpected(
        model=row.model, customer=row.customer, crew=row.crew, role=row.role.value,
        arrives_us=plan.at_us(row.arrives) if row.arrives else None,
        promised_us=plan.at_us(row.promised) if row.promised else None,
        support_until=row.support_until, contact_ref=None, note_ref=None, position=position,
    )  # fmt: skip


def _aim(target: Target, route: tuple[str, ...]) -> TargetSet:
    return TargetSet(release=target.release, route=list(route), reason_code=target.reason_code.value, reason="")


def _identity(serial: str, release: str) -> UnitIdentified:
    return UnitIdentified(
        serial=serial, model="Millrace", hardware="B", mode="run", release=release, options=[], term=None, by="driver"
    )


def _spent(target: Target) -> ActSpent:
    return ActSpent(
        permit="p", act=0, verb="write image", digest="", bytes=1, release=target.route[-1], simulated_proof=False
    )


def _verified(target: Target) -> UnitVerified:
    return UnitVerified(release=target.release or "", settings_same=True, differences=[], self_test="", sky="")
