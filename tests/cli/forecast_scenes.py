"""Forecasts to be drawn: the sample day in several sizes, with long names, that does not fit, and under way."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from benchday.cli.forecast_scene import Scene, scene_of
from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.inputs.sample import write_sample
from benchday.planning.before_day import before_day
from benchday.planning.forecast.engines import replicate
from benchday.planning.forecast.modelling import Known, model_before
from benchday.planning.forecast.so_far import model_now
from benchday.planning.forecast.telling import told
from tests.inputs.conftest import small_image
from tests.planning.forecast.test_so_far import MINUTE_US, day_of, lived_day

LONG_DAY = "Spring service day of the united drainage boards of Saltmere and the northern levels, with all their crews"
LONG_CREW = "Great black-backed gulls of the northern levels and the outer islands"


@cache
def sample_plan(units: int) -> DayPlan:
    """Return the sample day with so many units."""
    with TemporaryDirectory() as folder:
        write_sample(Path(folder) / "day", 7, build_image=small_image, units=units)
        return load_day(Path(folder) / "day")


def with_long_names(plan: DayPlan) -> DayPlan:
    """Return a day whose names are longer than there is room for, some of them in wide signs."""
    stations = tuple(
        station.model_copy(update={"name": f"Workbench by the northern window, {'測位' * 4} {number}"})
        for number, station in enumerate(plan.bench.stations)
    )
    bench = plan.bench.model_copy(update={"name": "The workshop behind the old pumping station", "stations": stations})
    roster = tuple(replace(r, crew=LONG_CREW, model=r.model) if n % 4 == 0 else r for n, r in enumerate(plan.roster))
    return replace(plan, bench=bench, roster=roster, day=plan.day.model_copy(update={"day": LONG_DAY}))


def closing_early(plan: DayPlan, closes: str) -> DayPlan:
    """Return a day that closes before all can be begun."""
    hours = tuple(h.model_copy(update={"closes": closes}) for h in plan.day.hours)
    return replace(plan, day=plan.day.model_copy(update={"hours": hours}))


def forecast_scene(plan: DayPlan, *, replications: int = 60, seed: int = 1) -> Scene:
    """Forecast a day before it begins."""
    known = Known({target.unit: target for target in before_day(plan).found}, seed=seed)
    compiled = model_before(plan, known, replications=replications)
    outcomes = replicate(compiled.model, engine="loop")
    return scene_of(plan, compiled, outcomes, told(compiled, outcomes))


@cache
def scene(name: str) -> Scene:
    """Return one of the days, by what it is."""
    match name:
        case "long names":
            return forecast_scene(with_long_names(sample_plan(20)))
        case "does not fit":
            return forecast_scene(closing_early(sample_plan(20), "10:00"))
        case "nobody":
            return forecast_scene(replace(sample_plan(3), roster=()))
        case "under way":
            return live_scene(75)
        case units:
            return forecast_scene(sample_plan(int(units)))


DAYS = ("3", "20", "60", "long names", "does not fit", "nobody", "under way")


def live_scene(minutes: int) -> Scene:
    """Return what is left of a day so many minutes after it was opened."""
    plan, known = day_of()
    compiled, _, lived = lived_day(plan, known)
    now_us = compiled.at_us + minutes * MINUTE_US
    state = lived.state(now_us)
    rest = model_now(plan, state, now_us, known, replications=40)
    outcomes = replicate(rest.model, engine="loop")
    return scene_of(plan, rest, outcomes, told(rest, outcomes), state=state)
