"""The document of ``targets DIR --json``, as models, and how it is made."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchday.cli.document_parts import Document, Part
from benchday.domain.checks import Finding
from benchday.domain.plan import DayPlan
from benchday.planning.before_day import Before
from benchday.planning.decisions import Decision, SetQuestion
from benchday.planning.target import ReasonCode, Target, UnitNow
from benchday.planning.terms import TermFound


class TargetFindingPart(Part):
    """One finding about a target."""

    check: str
    answer: str
    """clear, ask or stop."""
    text: str
    figures: dict[str, int | str]
    clears: str
    """What would make it clear."""


class TargetPart(Part):
    """What one unit should get."""

    serial: str
    model: str
    crew: str
    role: str
    hardware: str | None
    """Hardware revision as an earlier day read it; null: not known."""
    now: str | None
    """Release as an earlier day read it; null: read on the day."""
    target: str | None
    route: list[str]
    """Releases to write, in order; empty: nothing is to be written."""
    erases: list[str]
    """What each write of the route erases."""
    expected_us: int
    """Expected time of all writes with restart and verify."""
    back: bool
    pinned: bool
    outside: bool
    """It cannot work together with the rest of its set."""
    reason_code: ReasonCode
    reason: str
    support_until: str | None
    support_term_source: str | None
    """unit, renewal, supplier, roster or imported: who says the support term that is used."""
    findings: list[TargetFindingPart]


class RenewalPart(Part):
    """What renewing the support terms of one crew, or of one unit without a crew, would bring."""

    name: str
    renew: list[str]
    units: int
    crews: int
    otherwise: dict[str, str | None]
    then: dict[str, str | None]


class ChoicePart(Part):
    """One thing that can be chosen for a set."""

    choice: str
    text: str
    targets: dict[str, str | None]


class DecisionPart(Part):
    """One thing that needs a person."""

    check: str
    answer: str
    crew: str | None
    units: list[str]
    question: str
    clears: str
    choices: list[ChoicePart]


class EndingPart(Part):
    """A support term that ends soon."""

    serial: str
    crew: str
    support_until: str
    days: int


class TargetsDocument(Document):
    """targets DIR --json"""

    day: str
    on: str
    """Day for which it is told (ISO 8601)."""
    simulated: bool
    units: list[TargetPart]
    renewals: list[RenewalPart]
    decisions: list[DecisionPart]
    ending: list[EndingPart]
    """Support terms that end within 90 days."""


def targets_facts(plan: DayPlan, before: Before, *, simulated: bool) -> Mapping[str, Any]:
    """Return what the document says."""
    told = zip(before.units, before.terms, before.found, strict=True)
    return {
        "day": plan.day.day,
        "on": before.on,
        "simulated": simulated,
        "units": [_unit(unit, term, target) for unit, term, target in told],
        "renewals": [
            {
                "name": r.name,
                "renew": list(r.renew),
                "units": r.units,
                "crews": r.crews,
                "otherwise": dict(r.otherwise),
                "then": dict(r.then),
            }
            for r in before.renewals
        ],
        "decisions": [_decision(d) for d in before.decisions],
        "ending": [
            {"serial": u.serial, "crew": u.crew, "support_until": u.support_until, "days": days}
            for u, days in before.ending
        ],
    }


def _unit(unit: UnitNow, term: TermFound, target: Target) -> dict[str, Any]:
    return {
        "serial": unit.serial,
        "model": unit.model,
        "crew": unit.crew,
        "role": unit.role.value,
        "hardware": unit.hardware,
        "now": unit.release,
        "target": target.release,
        "route": list(target.route),
        "erases": list(target.erases),
        "expected_us": target.expected_us,
        "back": target.back,
        "pinned": target.pinned,
        "outside": target.outside,
        "reason_code": target.reason_code.value,
        "reason": target.reason,
        "support_until": unit.support_until,
        "support_term_source": term.source.value if term.source is not None else None,
        "findings": [_finding(f) for f in target.findings],
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return dict(finding.as_facts())


def _decision(decision: Decision) -> dict[str, Any]:
    return {
        "check": decision.check.value,
        "answer": decision.answer.value,
        "crew": decision.crew,
        "units": list(decision.units),
        "question": decision.question,
        "clears": decision.clears,
        "choices": _choices(decision.set_question),
    }


def _choices(question: SetQuestion | None) -> list[dict[str, Any]]:
    options = question.options if question is not None else ()
    return [{"choice": o.choice.value, "text": o.text, "targets": dict(o.targets)} for o in options]
