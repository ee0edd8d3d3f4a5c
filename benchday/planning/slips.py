"""The check-in slips of a day: for each crew the units, what to count, what to ask, what to read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchday.domain.cautions import Caution, Moment, cautions_at
from benchday.domain.checks import Answer, Check
from benchday.domain.plan import DayPlan
from benchday.domain.playbook import Playbook
from benchday.domain.units import Role, RosterRow
from benchday.planning.targets import Target

_LATE = "99:99"
"""Sorts behind every time of day."""


@dataclass(frozen=True, slots=True)
class SlipUnit:
    """One unit on a slip."""

    serial: str
    model: str
    customer: str
    role: Role
    arrives: str | None
    promised: str | None
    """Local times of day, HH:MM."""
    code: str | None
    """What its scannable code says; None if the playbook's label cannot hold this serial: then it is typed."""
    accessories: tuple[str, ...]
    """What should come with it."""
    target: str
    """What is to be done with it, in one sentence."""
    to_ask: tuple[str, ...]
    """What to ask the crew before the day comes to it."""


@dataclass(frozen=True, slots=True)
class Slip:
    """One crew's check-in slip; units without a crew share one for each customer."""

    crew: str
    """Empty: no crew."""
    units: tuple[SlipUnit, ...]
    cautions: tuple[Caution, ...]
    """To be read at check-in."""
    contacts: tuple[str, ...] = ()
    """Whom to ask; personal data: on the shop's list alone, not on the slip."""
    notes: tuple[str, ...] = ()
    """The roster's notes, each with its serial; personal data likewise."""

    @property
    def customers(self) -> tuple[str, ...]:
        """Whose units these are, each once."""
        return tuple(dict.fromkeys(unit.customer for unit in self.units))

    @property
    def title(self) -> str:
        """The crew, or whose units these are."""
        return f"Crew {self.crew}" if self.crew else f"{', '.join(self.customers)}, no crew"

    @property
    def arrives(self) -> str | None:
        """When the first of its units is expected, HH:MM; None if nobody knows."""
        return min((unit.arrives for unit in self.units if unit.arrives is not None), default=None)


def slips_of(plan: DayPlan, targets: Mapping[str, Target]) -> tuple[Slip, ...]:
    """Return a slip for each crew, who comes first in front.

    Args:
        plan: the day's inputs.
        targets: by serial; a unit without one says so.
    """
    groups: dict[tuple[str, str], list[RosterRow]] = {}
    for row in plan.roster:
        groups.setdefault((row.crew, "" if row.crew else row.customer), []).append(row)
    slips = [_slip(plan, crew, rows, targets) for (crew, _), rows in groups.items()]
    return tuple(sorted(slips, key=lambda slip: slip.arrives or _LATE))


def code_for(playbook: Playbook, serial: str) -> str | None:
    """Return the code that a scan reads as this serial: as the playbook describes its label, else the serial alone.

    None if the playbook would read neither as the serial, as where the serial holds the label's separator.
    """
    label = playbook.label
    as_labelled = (label.separator or "") * (label.field - 1) + label.prefix + serial
    return next((code for code in (as_labelled, serial) if playbook.serial_in(code) == serial), None)


def _slip(plan: DayPlan, crew: str, rows: Sequence[RosterRow], targets: Mapping[str, Target]) -> Slip:
    playbooks = [p for row in rows if (p := plan.playbook_for(row.model)) is not None]
    named = tuple(dict.fromkeys(name for playbook in playbooks for name in playbook.cautions))
    return Slip(
        crew=crew,
        units=tuple(_unit(row, plan.playbook_for(row.model), targets.get(row.serial)) for row in rows),
        cautions=cautions_at(Moment.CHECK_IN, plan.cautions, named),
        contacts=tuple(dict.fromkeys(row.contact for row in rows if row.contact)),
        notes=tuple(f"{row.serial}: {row.note}" for row in rows if row.note),
    )


def _unit(row: RosterRow, playbook: Playbook | None, target: Target | None) -> SlipUnit:
    return SlipUnit(
        serial=row.serial,
        model=row.model,
        customer=row.customer,
        role=row.role,
        arrives=row.arrives,
        promised=row.promised,
        code=code_for(playbook, row.serial) if playbook is not None else None,
        accessories=playbook.accessories if playbook is not None else (),
        target=_sentence(target),
        to_ask=_to_ask(target),
    )


def _sentence(target: Target | None) -> str:
    if target is None:
        return "No target is known."
    if any(finding.answer is Answer.STOP for finding in target.findings):
        return f"Nothing can be written: {target.reason}."
    if not target.route:
        return f"Nothing is to be written: {target.reason}."
    return f"To get {target.release}: {target.reason}."


def _to_ask(target: Target | None) -> tuple[str, ...]:
    """Return what a crew could answer; the release on the unit is asked of the unit itself."""
    found = target.findings if target is not None else ()
    return tuple(f.text for f in found if f.check is Check.SUPPORT_TERM and f.answer is Answer.ASK)
