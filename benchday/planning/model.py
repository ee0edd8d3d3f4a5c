"""A day as a model: pools, units with their stages, gates and closing time. Minutes throughout."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchday.domain.errors import InputError
from benchday.planning.laws import Law
from benchday.planning.policy import Pool


@dataclass(frozen=True, slots=True)
class Stage:
    """One thing that happens to a unit, in one piece."""

    name: str
    takes: tuple[str, ...]
    """Pools it asks for, one after the other, holding what it has."""
    frees: tuple[str, ...]
    """Pools given back at its end, of all that the unit holds."""
    law: Law
    guard: float | None = None
    """Minutes that must be left until closing when it begins."""
    opens: str | None = None
    """Gate that is open from its end on."""
    waits_for: str | None = None
    """Gate that must be open before it asks for anything."""


@dataclass(frozen=True, slots=True)
class ModelUnit:
    """One unit of the day."""

    id: str
    arrival: float
    priority: float
    """Smaller goes first."""
    stages: tuple[Stage, ...]
    promised: float | None = None

    def __post_init__(self) -> None:
        if not self.stages:
            raise ValueError(f"unit {self.id} has no stages")
        if not (math.isfinite(self.arrival) and math.isfinite(self.priority)):
            raise ValueError(
                f"unit {self.id} arrives at {self.arrival} with priority {self.priority}; give both a number"
            )
        held: Counter[str] = Counter()
        for stage in self.stages:
            held.update(stage.takes)
            held.subtract(stage.frees)
            for pool, count in held.items():
                if count < 0:
                    raise ValueError(f"stage {stage.name} of unit {self.id} frees {pool}, which the unit does not hold")


@dataclass(frozen=True, slots=True)
class Model:
    """A day."""

    pools: tuple[Pool, ...]
    units: tuple[ModelUnit, ...]
    close: float | None = None
    """Closing time; None if the day ends when everything is done."""
    replications: int = 1000
    seed: int = 0
    quantiles: tuple[float, ...] = (0.5, 0.8, 0.95)

    def __post_init__(self) -> None:
        _once("pool", [pool.name for pool in self.pools])
        _once("unit", [unit.id for unit in self.units])
        names = {pool.name for pool in self.pools}
        opened = {stage.opens for unit in self.units for stage in unit.stages}
        for unit in self.units:
            for stage in unit.stages:
                if unknown := {*stage.takes, *stage.frees} - names:
                    raise ValueError(
                        f"stage {stage.name} of unit {unit.id} names no pool: {', '.join(sorted(unknown))}"
                    )
                if stage.waits_for is not None and stage.waits_for not in opened:
                    raise ValueError(f"nothing opens gate {stage.waits_for}, which unit {unit.id} waits for")
            _enough(unit, {pool.name: pool.count for pool in self.pools})


def _enough(unit: ModelUnit, counts: Mapping[str, int]) -> None:
    """Refuse a unit that needs more of a pool at once than there are: it would wait for ever."""
    held: Counter[str] = Counter()
    for stage in unit.stages:
        held.update(stage.takes)
        for pool in stage.takes:
            if held[pool] > counts[pool]:
                there = "there is none" if counts[pool] == 0 else f"there are {counts[pool]}"
                raise ValueError(
                    f"stage {stage.name} of unit {unit.id} needs {held[pool]} of {pool} at once, and {there}: "
                    f"raise the pool's count or leave the stage out"
                )
        held.subtract(stage.frees)


def _once(what: str, names: Sequence[str]) -> None:
    for name, count in Counter(names).items():
        if count > 1:
            raise ValueError(f"{what} {name} is listed {count} times")


Durations = Sequence[Sequence[float]]
"""Minutes of one day by unit and stage, in the order of the model."""


def checked(model: Model, durations: Durations) -> Durations:
    """Return the durations if they are those of this model.

    Raises:
        InputError: another shape, or one that is not above 0, with its place.
    """
    if len(durations) != len(model.units):
        raise InputError(f"durations are wanted for {len(model.units)} units, found {len(durations)}")
    for unit, row in zip(model.units, durations, strict=True):
        if len(row) != len(unit.stages):
            raise InputError(f"unit {unit.id}: durations are wanted for {len(unit.stages)} stages, found {len(row)}")
        for stage, minutes in zip(unit.stages, row, strict=True):
            if not 0 < minutes < math.inf:
                raise InputError(f"unit {unit.id}, stage {stage.name}: a duration is above 0 minutes, found {minutes}")

    return durations


def pools_by_name(model: Model) -> Mapping[str, Pool]:
    """Return the pools by name."""
    return {pool.name: pool for pool in model.pools}
