"""A realistic day of the usual unit, of any size: scarce cables, two technicians with a break, a few arrivals late."""

from __future__ import annotations

import random

from benchday.planning.laws import Fixed, LogNormal, Pert, Retried, Scaled, Student, Triangular
from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.policy import Phase, Pool

CONNECTORS = (("round", 3), ("flat", 2), ("adapter", 1))


def usual_day(units: int, *, seed: int = 1, close: float | None = None, gates: bool = True) -> Model:
    """Draw a day of so many units at six stations; benches grow with the day, hands too.

    Args:
        units: how many.
        seed: of the day, not of its draws.
        close: closing time, minutes.
        gates: the first unit is verified before others are confirmed.
    """
    source = random.Random(seed)
    size = max(1, round(units / 100))
    pools = (
        Pool("station", 6 * size, Phase.PLACES),
        *(Pool(f"cable:{name}", count * size, Phase.PLACES) for name, count in CONNECTORS),
        Pool("charger", 2 * size, Phase.PLACES),
        Pool("technician", 2 * size, Phase.HANDS, ((240.0, 270.0),)),
    )
    rows = tuple(_unit(source, number, gate="first" if gates else None, size=size) for number in range(units))
    return Model(pools, rows, close, seed=seed)


def _unit(source: random.Random, number: int, *, gate: str | None, size: int) -> ModelUnit:
    cable = source.choices([f"cable:{name}" for name, _ in CONNECTORS], [6, 3, 1])[0]
    before: list[Stage] = []
    if number and source.random() < 0.3:
        before.append(Stage("late", (), (), Pert(0, 5, 30)))
    if number and source.random() < 0.15:
        before.append(Stage("charge", ("charger",), ("charger",), Pert(15, 30, 60)))
    opens = gate if number == 0 else None
    recordings = source.choice([0.4, 1.1, 1.9, 3.2])
    stages = (
        Stage("connect", ("station", "technician"), ("technician",), Pert(1, 2, 5)),
        Stage("identify", (cable,), (), Retried(Student(-0.3, 0.25, 6, 20), 0.05, Fixed(1))),
        Stage("check", (), (), Fixed(0.2)),
        Stage("preserve", (), (), Scaled(0.5, 1.7, recordings, 0.15)),
        Stage("confirm", ("technician",), ("technician",), Triangular(0.5, 1, 4), waits_for=gate if number else None),
        Stage("write", (), (), Student(2.4, 0.2, 9, 60), guard=30),
        Stage("restart", (), (), LogNormal(1.5, 0.2)),
        Stage("verify", (), (cable,), Pert(1, 1.5, 3), opens=opens),
        Stage("last look", ("technician",), ("technician", "station"), Pert(1, 2, 4)),
    )
    arrival = 0.0 if number < units_at_once(size) else source.randint(0, 40) * 5.0
    return ModelUnit(f"u{number}", arrival, 0.0, (*before, *stages), arrival + 240.0)


def units_at_once(size: int) -> int:
    """Return how many stand at the door when it opens."""
    return 20 * size
