"""How far a searched order ends above the lower bound, on usual durations, after so many seconds.

    python -m tests.speed.search [SECONDS...]

Days of the usual unit at six stations with two technicians and a break, where cables of every type are as scarce as the
stations; and the same with services so short that hands are scarce too, where the bound says less. Then what searching
on drawn days takes off the day's end in 80 of 100 other drawn days, against an order searched on usual durations only.
"""

from __future__ import annotations

import random
import statistics
import sys
from collections.abc import Sequence
from dataclasses import replace

from benchday.planning.durations import Pert
from benchday.planning.forecast.engines import Engine, replicate
from benchday.planning.forecast.prepared import Prepared, prepare
from benchday.planning.forecast.search import Found, rules, search, usual_durations
from benchday.planning.forecast.trying import Trials
from benchday.planning.laws import Fixed
from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.policy import Phase, Pool
from tests.planning.forecast.usual import usual_day

DAYS = 4
RULES = ("first come", "longest first", "earliest promised")
CABLES = (("round", 3, 52), ("flat", 2, 35), ("adapter", 1, 13))
"""Type, how many, and how many of 100 units need it."""


def scarce_day(units: int, seed: int) -> Model:
    """Draw a day on which every cable is as scarce as the stations."""
    source = random.Random(seed)
    pools = (
        Pool("station", 6, Phase.PLACES),
        *(Pool(f"cable:{name}", count, Phase.PLACES) for name, count, _ in CABLES),
        Pool("charger", 2, Phase.PLACES),
        Pool("technician", 2, Phase.HANDS, ((240.0, 270.0),)),
    )
    return Model(pools, tuple(_unit(source, f"u{number}") for number in range(units)), seed=seed)


def _unit(source: random.Random, name: str) -> ModelUnit:
    cable = source.choices([f"cable:{name}" for name, *_ in CABLES], [share for *_, share in CABLES])[0]
    write, preserve = 13 + 12 * source.random(), source.choice([1, 4, 8, 15])
    charge = (Stage("charge", ("charger",), ("charger",), Pert(15, 30, 60)),) if source.random() < 0.12 else ()
    stages = (
        *charge,
        Stage("connect", ("station", "technician"), ("technician",), Pert(1, 2, 5)),
        Stage("identify", (cable,), (), Pert(0.5, 1, 2)),
        Stage("check", (), (), Fixed(0.2)),
        Stage("preserve", (), (), Pert(0.8 * preserve, preserve, 1.5 * preserve)),
        Stage("confirm", ("technician",), ("technician",), Pert(0.5, 1, 4)),
        Stage("write", (), (), Pert(0.9 * write, write, 1.6 * write)),
        Stage("restart", (), (), Pert(1, 1.5, 3)),
        Stage("verify", (), (cable,), Pert(1, 1.5, 3)),
        Stage("last look", ("technician",), ("technician", "station"), Pert(1, 2, 4)),
    )
    arrival = 5.0 * source.randint(0, 24) if source.random() < 0.2 else 0.0
    return ModelUnit(name, arrival, 0.0, stages)


def short_day(units: int, seed: int) -> Model:
    """Draw a day of short services, whose end alone counts."""
    model = usual_day(units, seed=seed, gates=False)
    return replace(model, units=tuple(replace(unit, promised=None) for unit in model.units))


def gap(found: Found) -> float:
    """Return by how many percent the end is above the bound."""
    assert found.gap is not None
    return 100 * found.gap


def rule_gaps(prepared: Prepared) -> list[float]:
    """Return the same of each simple rule."""
    trials = Trials(prepared, [usual_durations(prepared)], (), Engine.LOOP)
    gaps = []
    for order in rules(prepared, (), range(prepared.units)):
        priorities = [0.0] * prepared.units
        for turn, unit in enumerate(order):
            priorities[unit] = float(turn)
        end, bound = trials.above_bound(priorities) or (0.0, 1.0)
        gaps.append(100 * (end / bound - 1))
    return gaps


def row(days: Sequence[Prepared], seconds: float, engine: Engine) -> None:
    """Print the mean gap over some days."""
    found = [search(day, seconds=seconds, draws=0, engine=engine) for day in days]
    tried = statistics.mean(f.evaluations for f in found) / seconds
    print(f"    {engine:9} {seconds:4} s  {statistics.mean(map(gap, found)):5.2f} %  {tried:8.0f} orders/s")


def drawn_gain(units: int, evaluations: int) -> None:
    """Print what drawn days take off the end in 80 of 100 other days."""
    gains = []
    for seed in range(1, DAYS + 1):
        model = scarce_day(units, seed)
        ends = []
        for draws in (0, 40):
            found = search(model, evaluations=evaluations, draws=draws, seed=99, engine=Engine.COMPILED)
            turns = {unit: float(turn) for turn, unit in enumerate(found.order)}
            ordered = replace(model, units=tuple(replace(u, priority=turns.get(u.id, 0.0)) for u in model.units))
            ends.append(replicate(ordered, replications=1000).makespan.quantile(0.8) or 0.0)
        gains.append(100 * (1 - ends[1] / ends[0]))
    print(f"{units:4} units: searching on 40 drawn days takes {statistics.mean(gains):.2f} % off the P80 of other days")


def main(arguments: Sequence[str]) -> None:
    """Print the tables."""
    seconds = [float(text) for text in arguments] or [0.2, 1.0, 2.0]
    search(short_day(3, 1), evaluations=3, draws=2, engine=Engine.COMPILED)
    for name, make in (("scarce cables", scarce_day), ("short services", short_day)):
        for units in (20, 60, 100):
            days = [prepare(make(units, seed)) for seed in range(1, DAYS + 1)]
            told = [statistics.mean(gaps) for gaps in zip(*map(rule_gaps, days), strict=True)]
            by_rule = ", ".join(f"{rule} {gap:.1f} %" for rule, gap in zip(RULES[:2], told, strict=False))
            print(f"{name}, {units} units: {by_rule}")
            for engine in (Engine.COMPILED, Engine.LOOP):
                for budget in seconds:
                    row(days, budget, engine)
    for units in (20, 60):
        drawn_gain(units, 10_000)


if __name__ == "__main__":
    main(sys.argv[1:])
