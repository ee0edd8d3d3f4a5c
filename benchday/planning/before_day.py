"""A day before it begins: each unit of the roster as the register knows it, its target, and what needs a person."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from benchday.domain.checks import Answer, Check
from benchday.domain.plan import DayPlan
from benchday.domain.units import RosterRow
from benchday.planning.decisions import Decision, decisions
from benchday.planning.register import Registered
from benchday.planning.renewals import Renewal, renewals
from benchday.planning.rules import Rules, rules_of
from benchday.planning.target import Target, UnitNow
from benchday.planning.targets import targets
from benchday.planning.terms import Supplied, TermFound, TermSources, days_left, ends_soon, term_of


@dataclass(frozen=True, slots=True)
class Before:
    """What is known of a day before it begins."""

    on: str
    """Day for which it is told (ISO 8601)."""
    units: tuple[UnitNow, ...]
    terms: tuple[TermFound, ...]
    """Of the units, in their order."""
    found: tuple[Target, ...]
    """Likewise."""
    renewals: tuple[Renewal, ...]
    decisions: tuple[Decision, ...]
    ending: tuple[tuple[UnitNow, int], ...]
    """Units whose support term ends soon, with the days left."""

    @property
    def stops(self) -> bool:
        """Tell whether any finding stops."""
        return any(d.answer is Answer.STOP for d in self.decisions)


def before_day(plan: DayPlan, known: Mapping[str, Registered] | None = None, on: str | None = None) -> Before:
    """Work out the targets of a day from its files and from what earlier days say of its units.

    Args:
        plan: the day's inputs.
        known: serial -> what the register knows of it; a unit that it does not know is read on the day.
        on: day for which it is asked (ISO 8601); the day's own where it is not given.
    """
    on, rules = on or plan.hours.date, rules_of(plan)
    known = known or {}
    terms = tuple(_term(plan, row, known.get(row.serial), on) for row in plan.roster)
    units = tuple(_now(row, known.get(row.serial), term) for row, term in zip(plan.roster, terms, strict=True))
    found = targets(units, plan.images.images, on, rules)
    asks = (*_of_terms(units, terms, found), *decisions(units, found, plan.images.images, on, rules))
    # What runs on a unit that no earlier day has read is read on the day: nobody need decide anything.
    unread = {unit.serial for unit in units if unit.release is None and not unit.in_boot}
    asks = tuple(d for d in asks if not (d.check is Check.ROUTE and d.answer is Answer.ASK and unread >= set(d.units)))
    return Before(
        on=on,
        units=units,
        terms=terms,
        found=found,
        renewals=_renewals(plan, units, on, rules),
        decisions=tuple(sorted(asks, key=lambda d: d.answer is not Answer.STOP)),
        ending=tuple(
            (unit, days_left(unit.support_until, on))
            for unit in units
            if unit.support_until is not None and ends_soon(unit.support_until, on)
        ),
    )


def _renewals(plan: DayPlan, units: Sequence[UnitNow], on: str, rules: Rules) -> tuple[Renewal, ...]:
    return renewals(units, plan.images.images, on, rules)


def _term(plan: DayPlan, row: RosterRow, known: Registered | None, on: str) -> TermFound:
    sources = known.sources if known is not None else TermSources()
    if row.support_until is not None:
        sources = replace(sources, roster=row.support_until)
    terms = plan.terms
    if terms is not None and row.serial in terms.terms:
        supplied = Supplied(terms.terms[row.serial], terms.supplier, terms.as_of, terms.from_copy)
        sources = replace(sources, supplier=supplied)
    hardware = known.hardware if known is not None else ""
    issued = [i.issued for i in plan.images_for(row.model, hardware or None) if not i.trial and i.issued <= on]
    return term_of(sources, on, issued)


def _now(row: RosterRow, known: Registered | None, term: TermFound) -> UnitNow:
    same = known if known is not None and known.model in ("", row.model) else None
    return UnitNow(
        serial=row.serial,
        model=row.model,
        crew=row.crew,
        role=row.role,
        hardware=same.hardware or None if same is not None else None,
        release=same.release if same is not None else None,
        support_until=term.last_day,
    )


def _of_terms(units: Sequence[UnitNow], terms: Sequence[TermFound], found: Sequence[Target]) -> tuple[Decision, ...]:
    """Return where those who say a support term disagree and it matters; an unknown term is asked for by the target."""
    return tuple(
        Decision(
            check=term.finding.check,
            answer=term.finding.answer,
            units=(unit.serial,),
            crew=None,
            question=term.finding.text,
            clears=term.finding.clears,
        )
        for unit, term, target in zip(units, terms, found, strict=True)
        if term.last_day is not None and term.finding.answer is not Answer.CLEAR and (target.route or not target.now)
    )
