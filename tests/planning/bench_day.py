"""An invented day for the tests: a bench, a roster, playbooks and images, changed in what a test is about."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from benchday.domain.bench import BenchFile, DayFile
from benchday.domain.cautions import Caution
from benchday.domain.plan import DayPlan
from benchday.domain.playbook import Playbook
from benchday.domain.releases import Image, ImageList
from benchday.domain.units import Role, RosterRow
from benchday.planning.targets import Target, UnitNow, targets
from tests.planning.shop import image, playbook

DAY = {
    "day": "Service day",
    "hours": [{"date": "2026-06-16", "opens": "08:00", "closes": "17:00"}],
    "time_zone": "Europe/London",
    "instruments": "real",
}
BENCH = {
    "bench": "bench-1",
    "name": "Workshop",
    "stations": [{"name": "S1"}, {"name": "S2"}, {"name": "S3"}],
    "cables": [{"connector": "round", "number": "R1"}],
    "operators": [{"name": "Ines Halloran", "may": ["check in", "confirm"]}],
}


def row(serial: str, crew: str = "Avocet", **changed: Any) -> RosterRow:
    """Write a line of the roster."""
    facts: dict[str, Any] = {
        "model": "Millrace",
        "customer": "Saltmere Levels",
        "contact": "Maren Oakhurst",
        "role": Role.ROVER,
        "arrives": "08:00",
        "promised": None,
        "support_until": "2030-12-31",
    }
    return RosterRow(serial=serial, crew=crew, **(facts | changed))


def bench_day(
    rows: Sequence[RosterRow],
    *,
    playbooks: Sequence[Playbook] | None = None,
    images: Sequence[Image] | None = None,
    cautions: Sequence[Caution] = (),
    **bench: Any,
) -> DayPlan:
    """Return the day's plan; parts of the bench are given by name."""
    return DayPlan(
        day=DayFile.model_validate_json(json.dumps(DAY)),
        bench=BenchFile.model_validate_json(json.dumps(BENCH | bench)),
        roster=tuple(rows),
        playbooks=tuple(playbooks) if playbooks is not None else (playbook(),),
        images=ImageList(images=tuple(images) if images is not None else (image("2.9"),)),
        cautions=tuple(cautions),
    )


def aims(plan: DayPlan, releases: dict[str, str] | None = None) -> tuple[Target, ...]:
    """Return the targets of the roster's units; what runs on them now by serial, where it is known."""
    units = [
        UnitNow(
            r.serial,
            r.model,
            r.crew,
            r.role,
            release=(releases or {}).get(r.serial),
            support_until=r.support_until,
        )
        for r in plan.roster
    ]
    return targets(units, plan.images.images, plan.hours.date)
