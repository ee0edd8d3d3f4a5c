"""The rest of a day: at its beginning the day itself; lived by the engine, it goes on exactly as it would have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from benchday.domain.fold import DayState
from benchday.domain.plan import DayPlan
from benchday.domain.playbook import Playbook, StepName
from benchday.planning import engine
from benchday.planning.durations import Load
from benchday.planning.engine import Day
from benchday.planning.forecast.modelling import Compiled, Known, model_before
from benchday.planning.forecast.so_far import model_now
from benchday.planning.laws import Fixed, Law, Remaining, Retried
from benchday.planning.model import Durations
from tests.planning.bench_day import aims, bench_day, row
from tests.planning.forecast.lived import Lived, finish_of, lived
from tests.planning.shop import image, playbook

MINUTE_US = 60_000_000
STEPS = dict(zip(StepName, (3.237, 0.513, 0.777, 2.459, 1.491, 16.123, 1.271, 1.739, 3.518), strict=True))


MODELS = {"Millrace": 1.0, "Weirstone": 1.2357, "Osier": 0.8713}
"""Model -> how much longer its steps take: without ties there is one way in which a day can go."""


def always(model: str, _: Playbook, __: Load) -> Mapping[StepName, Law]:
    """Let each step take its minutes."""
    return {name: Fixed(minutes * MODELS[model]) for name, minutes in STEPS.items()}


def day_of(count: int = 13, **bench: Any) -> tuple[DayPlan, Known]:
    """Return a day of rovers, most to be written, that come a few at a time, each step of known length."""
    models = list(MODELS)
    rows = [
        row(f"M{n}", f"Crew {n % 3}", arrives=f"{8 + n // 7:02d}:{(n * 7) % 60:02d}", model=models[n * n % 5 % 3])
        for n in range(count)
    ]
    things: dict[str, Any] = {
        "cables": [{"connector": "round", "number": n} for n in ("R1", "R2")],
        "operators": [
            {"name": n, "may": ["check in", "confirm", "last look"]} for n in ("Ines Halloran", "Tobias Wren")
        ],
        "breaks": [{"from": "09:00", "to": "09:10"}],
    }
    images = [image("2.9", models=models)]
    plan = bench_day(rows, playbooks=[playbook(models=models)], images=images, **(things | bench))
    targets = aims(plan, {r.serial: "2.9" if r.serial == "M4" else "2.4" for r in rows})
    return plan, Known({t.unit: t for t in targets}, laws=always)


def exactly(compiled: Compiled) -> Durations:
    """Return the durations without any chance: nobody is late, nobody stays away."""
    return [[_exact(stage.law) for stage in unit.stages] for unit in compiled.model.units]


def _exact(law: Law) -> float:
    match law:
        case Fixed(minutes):
            return minutes
        case Retried(first, _, _):
            return _exact(first)
        case Remaining(Fixed(minutes), elapsed):
            return max(minutes - elapsed, 1e-6)
        case _:
            return 1e-6


def lived_day(plan: DayPlan, known: Known) -> tuple[Compiled, Day, Lived]:
    """Run a day and write it down."""
    compiled = model_before(plan, known)
    day = engine.run(compiled.model, exactly(compiled))
    return compiled, day, lived(plan, known, compiled, day)


def test_at_the_beginning_it_is_the_day_before_it_begins() -> None:
    plan, known = day_of()
    compiled, _, told = lived_day(plan, known)
    begun = DayState()
    for entry in told.entries():
        if entry.kind in ("day_begun", "unit_expected"):
            begun.apply(entry)
    assert model_now(plan, begun, compiled.at_us, known) == compiled


BENCHES: dict[str, tuple[bool, dict[str, Any]]] = {
    "as it is": (False, {}),
    "with gates": (True, {}),
    "one station": (False, {"stations": [{"name": "S1"}]}),
    "no breaks": (True, {"breaks": []}),
    "cables enough": (True, {"cables": [{"connector": "round", "number": n} for n in "ABC"]}),
}
"""Whether the first of each kind is waited for, and what is otherwise on the bench. Where several wait for one operator
nobody writes down since when, so that such a day may go on in another order."""


@pytest.mark.parametrize(("first_off", "bench"), BENCHES.values(), ids=BENCHES)
def test_it_goes_on_exactly_as_it_would_have(first_off: bool, bench: dict[str, Any]) -> None:
    plan, known = day_of(**bench)
    policy = plan.day.policy.model_copy(update={"first_off": first_off})
    plan = replace(plan, day=plan.day.model_copy(update={"policy": policy}))
    compiled, day, told = lived_day(plan, known)
    truth = finish_of(compiled, day)
    moments = sorted({at for at, _, _ in told.told})
    for at_us in moments[:: max(len(moments) // 60, 1)]:
        # Between two instants: at one itself, what happens in it is half told.
        now_us = at_us + 7
        rest = model_now(plan, told.state(now_us), now_us, known)
        ran = engine.run(rest.model, exactly(rest))
        after = (now_us - compiled.at_us) / MINUTE_US
        for serial, finish in finish_of(rest, ran).items():
            assert finish is not None
            assert after + finish == pytest.approx(truth[serial], abs=0.01), (serial, after)
