"""A day compiled before it begins: what each unit asks for, in which order, and what closing and gates do."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest

from benchday.domain.plan import DayPlan
from benchday.domain.playbook import StepName
from benchday.planning import engine, laws
from benchday.planning.durations import Pert, rest_of_way, steps_to_verify
from benchday.planning.forecast.habits import USUALLY_LATE, Habits
from benchday.planning.forecast.modelling import Compiled, Known, model_before
from benchday.planning.forecast.stages import load_of
from benchday.planning.laws import Retried
from benchday.planning.model import Durations, ModelUnit, Stage
from benchday.planning.target import Target
from tests.planning.bench_day import aims, bench_day, row
from tests.planning.shop import image, playbook

POINTS = {"connect": (1, 2, 4), "write": (13, 17, 26), "last look": (1, 2, 5)}


def known(plan: DayPlan, releases: dict[str, str] | None = None, **more: Any) -> Known:
    """Know the targets of a day's units."""
    targets: dict[str, Target] = {t.unit: t for t in aims(plan, releases)}
    return Known(targets, **more)


def two_millraces(**bench: Any) -> DayPlan:
    """Return a day of two rovers of one crew, to be written."""
    return bench_day([row("M1"), row("M2", arrives="09:30", promised="12:00")], **bench)


def of(compiled: Compiled, serial: str) -> ModelUnit:
    """Return a unit of the model."""
    return next(u for u in compiled.model.units if u.id == serial)


def names(unit: ModelUnit) -> list[str]:
    """Return the names of a unit's stages."""
    return [stage.name for stage in unit.stages]


def stage(unit: ModelUnit, name: str) -> Stage:
    """Return the one stage of that name."""
    (found,) = [s for s in unit.stages if s.name == name]
    return found


def drawn(compiled: Compiled, seed: int) -> Durations:
    """Draw one day's durations, as the engines' own law does."""
    source = random.Random(seed)
    return [[laws.draw(s.law, source) for s in u.stages] for u in compiled.model.units]


def test_the_usual_unit_takes_and_frees_what_the_policy_says() -> None:
    plan = two_millraces()
    unit = of(model_before(plan, known(plan, {"M1": "2.4", "M2": "2.4"})), "M2")
    assert [(s.name, s.takes, s.frees) for s in unit.stages] == [
        ("late", (), ()),
        ("connect", ("station", "technician"), ("technician",)),
        ("identify", ("cable:round",), ()),
        ("check", (), ()),
        ("preserve", (), ()),
        ("confirm", ("technician",), ("technician",)),
        ("write", (), ()),
        ("restart", (), ()),
        ("verify", (), ("cable:round",)),
        ("last look", ("technician",), ("technician", "station")),
    ]
    assert (unit.arrival, unit.promised, unit.priority) == (90.0, 240.0, 0.0)
    for name, points in POINTS.items():
        assert stage(unit, name).law == Pert(*map(float, points))


def test_pools_are_the_bench_and_breaks_are_minutes_from_opening() -> None:
    plan = two_millraces(
        breaks=[{"from": "07:00", "to": "07:30"}, {"from": "07:30", "to": "08:10"}, {"from": "12:00", "to": "12:45"}],
        chargers=[{"name": "C1"}],
    )
    compiled = model_before(plan, known(plan))
    assert [(p.name, p.count, p.phase.value) for p in compiled.model.pools] == [
        ("station", 3, "places"),
        ("charger", 1, "places"),
        ("cable:round", 1, "places"),
        ("technician", 1, "hands"),
    ]
    assert compiled.model.pools[-1].breaks == ((0.0, 10.0), (240.0, 285.0))
    assert compiled.model.close == 540.0


def test_the_guard_is_the_live_checks_own_figure() -> None:
    plan = two_millraces()
    compiled = model_before(plan, known(plan, {"M1": "2.4", "M2": "2.4"}, seed=3))
    load = load_of(plan.playbooks[0], plan.images.images, 0)
    rest = rest_of_way(steps_to_verify(plan.playbooks[0], StepName.WRITE, load, {}), 3)
    assert stage(of(compiled, "M1"), "write").guard == rest.p99_us / 60_000_000
    assert [s.name for u in compiled.model.units for s in u.stages if s.guard] == ["write", "write"]


def test_a_unit_that_stays_is_not_written_and_waits_for_nobody() -> None:
    plan = two_millraces()
    unit = of(model_before(plan, known(plan, {"M1": "2.4", "M2": "2.9"})), "M2")
    assert names(unit) == ["late", "connect", "identify", "check", "verify", "last look"]
    assert all(s.waits_for is None and s.opens is None for s in unit.stages)


def test_the_second_of_a_kind_asks_for_no_station_before_the_first_is_verified() -> None:
    plan = two_millraces()
    compiled = model_before(plan, known(plan, {"M1": "2.4", "M2": "2.4"}))
    first, second = compiled.model.units
    assert stage(first, "verify").opens == stage(second, "connect").waits_for == "Millrace 2.9"
    assert stage(second, "verify").opens is None
    day = engine.run(compiled.model, drawn(compiled, 1))
    assert day.starts[1][1] >= day.ends[0][names(first).index("verify")]


def test_the_first_is_who_is_due_first_and_never_one_that_does_not_come() -> None:
    plan = bench_day([row("M1", arrives="11:00"), row("M2", arrives="09:00"), row("M3", arrives=None)])
    compiled = model_before(plan, known(plan, {}))
    assert stage(of(compiled, "M3"), "verify").opens == "Millrace 2.9"
    assert compiled.not_coming == {"M1": 0.02, "M2": 0.02, "M3": 0.0}
    assert of(compiled, "M3").stages[0].law == USUALLY_LATE


def test_without_first_off_there_are_no_gates() -> None:
    plan = two_millraces()
    policy = plan.day.policy.model_copy(update={"first_off": False})
    free = DayPlan(plan.day.model_copy(update={"policy": policy}), plan.bench, plan.roster, plan.playbooks, plan.images)
    compiled = model_before(free, known(free))
    assert all(s.waits_for is None and s.opens is None for u in compiled.model.units for s in u.stages)


def test_one_that_does_not_come_is_not_begun_and_costs_nothing() -> None:
    plan = bench_day([row("M1"), row("M2")], images=[])
    compiled = model_before(plan, known(plan, {"M1": "2.9", "M2": "2.9"}))
    late = of(compiled, "M2").stages[0].law
    assert isinstance(late, Retried)
    durations = [list(r) for r in drawn(compiled, 5)]
    alone = engine.run(compiled.model, durations)
    durations[1][0] = late.extra.mean
    without = engine.run(compiled.model, durations)
    assert without.not_begun == ("M2",)
    assert without.finish[0] is not None
    assert without.finish[1] is None
    assert without.makespan == without.finish[0] <= alone.makespan


def test_a_route_of_several_writes_checks_and_confirms_anew_and_keeps_its_cable() -> None:
    images = [image("2.6"), image("2.9", "2025-06-01", through=["2.6"])]
    plan = bench_day([row("M1"), row("M2")], images=images)
    unit = of(model_before(plan, known(plan, {"M1": "2.4", "M2": "2.4"})), "M1")
    again = ["confirm", "write", "restart", "verify"]
    assert names(unit) == ["late", "connect", "identify", "check", "preserve", *again, "check", *again, "last look"]
    verifies = [s for s in unit.stages if s.name == "verify"]
    assert [(s.frees, s.opens) for s in verifies] == [((), None), (("cable:round",), "Millrace 2.9")]
    first, second = [s.guard for s in unit.stages if s.name == "write"]
    assert first is not None
    assert second is not None
    assert first > second + 17


def test_by_hand_takes_hands_where_the_playbook_says_and_no_cable() -> None:
    steps = playbook().service
    told = [json.loads(s.model_dump_json()) for s in steps]
    for step in told:
        if step["step"] in ("identify", "verify"):
            step |= {"occupies": ["hands"], "hands": "Read the display."}
    book = playbook(connector=None, driver={"name": "by-hand"}, service=told)
    plan = bench_day([row("M1")], playbooks=[book])
    unit = of(model_before(plan, known(plan)), "M1")
    attended = [s.name for s in unit.stages if "technician" in s.takes]
    assert attended == ["connect", "identify", "confirm", "verify", "last look"]
    assert {pool for s in unit.stages for pool in s.takes} == {"station", "technician"}


def test_a_battery_expected_low_is_charged_before_the_station() -> None:
    book = playbook(external=False, pack_swap=False)
    plan = bench_day([row("M1"), row("M2")], playbooks=[book], chargers=[{"name": "C1"}])
    compiled = model_before(plan, known(plan, percent={"M1": 20, "M2": 80}))
    charge = stage(of(compiled, "M1"), "charge")
    assert (charge.takes, charge.frees) == (("charger",), ("charger",))
    # From 20 to 55 % of an aged pack of 24 Wh at 12 W: 42 minutes.
    assert charge.law == Pert(42, 47, 62)
    assert names(of(compiled, "M2"))[:5] == ["late", "charge after all", "connect", "identify", "check"]
    assert stage(of(compiled, "M2"), "second visit").law.mean == pytest.approx(0.05 * 2.7, abs=0.1)


def test_without_a_charger_a_low_unit_is_left_out_and_said() -> None:
    plan = bench_day([row("M1")], playbooks=[playbook(external=False, pack_swap=False)])
    compiled = model_before(plan, known(plan, percent={"M1": 20}))
    assert [out.serial for out in compiled.left_out] == ["M1"]
    assert "no charger" in compiled.left_out[0].reason
    assert compiled.model.units == ()


def test_a_unit_whose_target_stops_is_looked_at_and_set_aside() -> None:
    plan = bench_day([row("M1")], images=[])
    compiled = model_before(plan, known(plan))
    assert names(of(compiled, "M1")) == ["late", "connect", "identify", "check", "set aside"]
    assert stage(of(compiled, "M1"), "set aside").frees == ("technician", "cable:round", "station")
    assert [out.serial for out in compiled.left_out] == ["M1"]


def test_a_crews_own_arrivals_are_gone_by_once_there_are_three() -> None:
    plan = two_millraces()
    crew = ("Saltmere Levels", "Avocet")
    habits = Habits({crew: (0.0, 10.0)}, {"Saltmere Levels": (3, 50)})
    compiled = model_before(plan, known(plan, habits=habits))
    law = of(compiled, "M2").stages[0].law
    assert isinstance(law, Retried)
    assert (law.first, law.probability) == (USUALLY_LATE, 0.04)
    enough = model_before(plan, known(plan, habits=Habits({crew: (0.0, 10.0, 20.0)})))
    assert of(enough, "M1").stages[0].law == Pert(0, 10, 30)


def test_every_day_of_the_sample_sort_ends() -> None:
    rows = [row(f"M{n}", arrives=f"{8 + n % 9:02d}:{n % 6}0") for n in range(40)]
    plan = bench_day(rows, cables=[{"connector": "round", "number": "R1"}, {"connector": "round", "number": "R2"}])
    compiled = model_before(plan, known(plan))
    for seed in range(20):
        day = engine.run(compiled.model, drawn(compiled, seed))
        assert day.not_begun
        writes = [
            d[names(u).index("write")] for d, u in zip(day.starts, compiled.model.units, strict=True) if len(d) > 6
        ]
        guard = stage(compiled.model.units[0], "write").guard
        assert guard is not None
        assert max(writes) + guard <= 540
