"""The field software of a crew's controller is of its set: all go on together, or none does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.inputs.sample import write_sample
from benchday.planning.before_day import before_day
from benchday.planning.layout import layout_of
from tests.inputs.conftest import small_image

BASE, ROVER, CONTROLLER = "WS-41-00342", "007421530018", "SP4-22107"


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> DayPlan:
    """Read the sample day with its controller."""
    folder: Path = tmp_path_factory.mktemp("controller") / "day"
    write_sample(folder, 7, build_image=small_image, units=22)
    return replace(load_day(folder), terms=None)


def ends(plan: DayPlan) -> dict[str, tuple[str | None, str]]:
    """Work out where the set of the crew ends, and why."""
    return {t.unit: (t.release, t.reason) for t in before_day(plan).found if t.unit in (BASE, ROVER, CONTROLLER)}


def test_the_set_goes_on_together(plan: DayPlan) -> None:
    assert {unit: release for unit, (release, _) in ends(plan).items()} == {
        BASE: "2.10", ROVER: "2.10", CONTROLLER: "1.4",
    }  # fmt: skip


def test_receivers_stay_on_what_works_with_a_controller_that_may_not_go_on(plan: DayPlan) -> None:
    rows = tuple(replace(r, support_until="2026-03-31") if r.serial == CONTROLLER else r for r in plan.roster)
    found = ends(replace(plan, roster=rows))
    assert {unit: release for unit, (release, _) in found.items()} == {BASE: "2.9", ROVER: "2.9", CONTROLLER: "1.3"}
    assert "so that the set works together" in found[ROVER][1]
    assert "newest allowed is 1.3" in found[CONTROLLER][1]


def test_it_is_laid_out_with_its_crew(plan: DayPlan) -> None:
    told = str(layout_of(plan, before_day(plan).found, None, None))
    assert CONTROLLER in told
    assert "sluicepad-1.4.fen" in told
