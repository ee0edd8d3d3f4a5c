"""Wild small days: whatever a model may say at once, with as many ties as whole minutes make."""

from __future__ import annotations

import random

from benchday.planning.model import Model, ModelUnit, Stage
from tests.planning.days import hands, places, stage

POOLS = ("a", "b", "c", "x", "y")


def wild_day(seed: int) -> tuple[Model, list[list[float]]]:
    """Draw a day: three kinds of places, two of hands with breaks of their own, two gates, guards, several takes."""
    source = random.Random(f"wild {seed}")
    counts = {name: source.randint(1, 4) for name in POOLS}
    pools = (
        *(places(name, counts[name]) for name in "abc"),
        hands("x", counts["x"], *_breaks(source)),
        hands("y", counts["y"], *_breaks(source)),
    )
    opens = source.random() < 0.7
    units = [_unit(source, number, counts, gates=opens) for number in range(source.randint(1, 9))]
    if opens:
        for gate in ("g", "h"):
            way = stage(f"opens {gate}", "a", "a", opens=gate, guard=source.choice([None, 3.0]))
            units.insert(source.randrange(len(units) + 1), ModelUnit(f"opens {gate}", 0, 0, (way,)))
    durations = [[source.choice([1.0, 1.0, 2.0, 3.0, 0.5, 0.1]) for _ in unit.stages] for unit in units]
    return Model(pools, tuple(units), source.choice([None, None, 9.0, 15.0])), durations


def _breaks(source: random.Random) -> list[tuple[float, float]]:
    return [(start, start + source.choice([1.0, 2.0, 6.0])) for start in (2.0, 5.0, 9.0) if source.random() < 0.3]


def _unit(source: random.Random, number: int, counts: dict[str, int], *, gates: bool) -> ModelUnit:
    held: list[str] = []
    stages: list[Stage] = []
    for turn in range(source.randint(1, 6)):
        takes = [pool for pool in source.sample(POOLS, source.choice([0, 0, 1, 1, 1, 2, 3])) if held.count(pool) < 1]
        # At times two of one kind at once.
        takes += [pool for pool in takes[:1] if counts[pool] > 1 and source.random() < 0.2]
        held += takes
        frees = [pool for pool in held if source.random() < 0.6]
        for pool in frees:
            held.remove(pool)
        made = stage(
            f"s{turn}",
            " ".join(takes),
            " ".join(frees),
            guard=source.choice([None, None, None, 1.0, 4.0]),
            opens=source.choice([None] * 6 + ["g", "h"]) if gates else None,
            waits_for=source.choice([None] * 6 + ["g", "h"]) if gates else None,
        )
        stages.append(made)
    arrival, priority = source.choice([0.0, 0.0, 1.0, 2.5]), source.choice([0.0, 0.0, 1.0, -1.0])
    return ModelUnit(f"u{number}", arrival, priority, tuple(stages))
