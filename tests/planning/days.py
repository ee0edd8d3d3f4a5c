"""Small days for the tests: written short, and drawn at random with many ties."""

from __future__ import annotations

import random

from benchday.planning.laws import Fixed
from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.policy import Phase, Pool

ONE = Fixed(1)


def stage(
    name: str,
    takes: str = "",
    frees: str = "",
    *,
    guard: float | None = None,
    opens: str | None = None,
    waits_for: str | None = None,
) -> Stage:
    """Write a stage with its pools as one text of words."""
    return Stage(name, tuple(takes.split()), tuple(frees.split()), ONE, guard, opens, waits_for)


def unit(name: str, *stages: Stage, arrival: float = 0, priority: float = 0) -> ModelUnit:
    """Write a unit."""
    return ModelUnit(name, arrival, priority, stages)


def places(name: str, count: int) -> Pool:
    """Write a pool of places."""
    return Pool(name, count, Phase.PLACES)


def hands(name: str, count: int, *breaks: tuple[float, float]) -> Pool:
    """Write a pool of hands."""
    return Pool(name, count, Phase.HANDS, breaks)


def usual_stages(
    *, cable: str = "cable", guard: float | None = None, gates: tuple[str | None, str | None]
) -> list[Stage]:
    """Return the usual unit's stages at a station."""
    opens, waits_for = gates
    return [
        stage("connect", "station hands", "hands"),
        stage("identify", cable),
        stage("confirm", "hands", "hands", waits_for=waits_for),
        stage("write", guard=guard),
        stage("verify", frees=cable, opens=opens),
        stage("last look", "hands", "hands station"),
    ]


def random_day(seed: int) -> tuple[Model, list[list[float]]]:
    """Draw a small day full of ties: whole and half minutes, few things, two priorities, breaks, closing, gates."""
    source = random.Random(seed)
    pools = (
        places("station", source.randint(1, 3)),
        places("cable", source.randint(1, 2)),
        places("charger", 1),
        hands("hands", source.randint(1, 2), *_breaks(source)),
    )
    units = tuple(_random_unit(source, number) for number in range(source.randint(1, 7)))
    opened = {s.opens for u in units for s in u.stages}
    if any(s.waits_for is not None and s.waits_for not in opened for u in units for s in u.stages):
        # Nobody opens the gate: give the day a first unit that does.
        first = ModelUnit("opener", 0, 0, (stage("first off", "station", "station", opens="gate"),))
        units = (first, *units)
    close = source.choice([None, None, 12.0, 20.0])
    durations = [[source.choice([0.5, 1.0, 1.0, 2.0, 0.1, 3.0]) for _ in u.stages] for u in units]
    return Model(pools, units, close), durations


def _breaks(source: random.Random) -> list[tuple[float, float]]:
    return [(start, start + source.choice([1.0, 2.5])) for start in (4.0, 10.0) if source.random() < 0.4]


def _random_unit(source: random.Random, number: int) -> ModelUnit:
    stages: list[Stage] = []
    if source.random() < 0.3:
        stages.append(stage("late"))
    if source.random() < 0.3:
        stages.append(stage("charge", "charger", "charger"))
    guard = source.choice([None, 2.0, 4.0])
    gates = source.choice([(None, None)] * 3 + [("gate", None), (None, "gate")])
    usual = usual_stages(guard=guard, gates=gates)
    if source.random() < 0.15:
        # A stage that takes several things in its own order, and guards that stand where hands are asked for.
        usual[1] = stage("identify", "hands cable", "hands", guard=guard)
        usual[2] = stage("confirm", "hands", "hands", guard=guard, waits_for=gates[1])
    stages += usual
    return ModelUnit(f"u{number}", source.choice([0.0, 0.0, 1.0, 2.0]), source.choice([0.0, 0.0, 1.0]), tuple(stages))
