"""A day's inputs as they stand in the journal, and back: what runs is what was recorded, not what a file says now.

Contacts and notes are personal data and stand beside the chain, so a plan that comes back has none.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, TypeVar

from benchday.domain.bench import BenchFile, DayFile
from benchday.domain.cautions import CautionFile
from benchday.domain.kinds import InputRead, TermsRead
from benchday.domain.plan import DayPlan, TermsList
from benchday.domain.playbook import Playbook
from benchday.domain.releases import ImageList
from benchday.domain.units import Role, RosterRow
from benchday.domain.words import FileModel

DAY, BENCH, ROSTER, IMAGES, CAUTIONS = "day.yaml", "bench.yaml", "roster.csv", "images.yaml", "cautions.yaml"
PLAYBOOK = "playbook:"
TERMS = "support terms"
"""What the supplier's list is called among the inputs, wherever it lies."""
M = TypeVar("M", bound=FileModel)
_PERSONAL = frozenset({"contact", "note", "line"})


def says_of(plan: DayPlan) -> tuple[InputRead, ...]:
    """Return the entries that record a day's inputs."""
    said: dict[str, Any] = {DAY: _dump(plan.day), BENCH: _dump(plan.bench), IMAGES: _dump(plan.images)}
    said[ROSTER] = [_row(row) for row in plan.roster]
    said |= {f"{PLAYBOOK}{p.playbook}": _dump(p) for p in plan.playbooks}
    if plan.cautions:
        said[CAUTIONS] = {"cautions": [_dump(c) for c in plan.cautions]}
    return tuple(InputRead(name=name, sha256=digest_in(plan, name), says=says) for name, says in said.items())


def terms_of(plan: DayPlan) -> TermsRead | None:
    """Return the entry that records the supplier's list; None if the day has none."""
    terms = plan.terms
    if terms is None:
        return None
    return TermsRead(
        supplier=terms.supplier,
        as_of=terms.as_of,
        from_copy=terms.from_copy,
        sha256=plan.digests.get(TERMS, ""),
        terms=dict(terms.terms),
    )


def plan_of(inputs: Mapping[str, Mapping[str, Any]]) -> DayPlan:
    """Return the plan that these recorded inputs make."""
    said = {name: facts["says"] for name, facts in inputs.items()}
    cautions = _load(CautionFile, said[CAUTIONS]).cautions if CAUTIONS in said else ()
    return DayPlan(
        day=_load(DayFile, said[DAY]),
        bench=_load(BenchFile, said[BENCH]),
        roster=tuple(RosterRow(**{**row, "role": Role(row["role"]), "contact": ""}) for row in said[ROSTER]),
        playbooks=tuple(_load(Playbook, says) for name, says in said.items() if name.startswith(PLAYBOOK)),
        images=_load(ImageList, said[IMAGES]),
        digests={name: facts["sha256"] for name, facts in inputs.items()},
        cautions=cautions,
        terms=TermsList(**said[TERMS]) if TERMS in said else None,
    )


def without_personal(plan: DayPlan) -> DayPlan:
    """Return the plan as it comes back from the journal."""
    inputs = {i.name: {"says": i.says, "sha256": i.sha256} for i in says_of(plan)}
    if (terms := terms_of(plan)) is not None:
        inputs[TERMS] = terms_says(terms.model_dump())
    return plan_of(inputs)


def terms_says(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Return the facts of a supplier's list as they stand among the inputs."""
    says = {name: facts[name] for name in ("supplier", "as_of", "terms", "from_copy")}
    return {"name": TERMS, "sha256": facts["sha256"], "says": says}


def digest_in(plan: DayPlan, name: str) -> str:
    """Return the digest of a file as read; images and cautions may lie in a folder of another name."""
    return next((d for file, d in plan.digests.items() if file == name or file.endswith(f"/{name}")), "")


def _row(row: RosterRow) -> dict[str, Any]:
    return {f.name: getattr(row, f.name) for f in fields(RosterRow) if f.name not in _PERSONAL}


def _dump(model: FileModel) -> Any:
    return model.model_dump(mode="json", by_alias=True)


def _load(kind: type[M], says: Any) -> M:
    return kind.model_validate_json(json.dumps(says))
