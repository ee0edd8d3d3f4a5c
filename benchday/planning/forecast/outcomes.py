"""What came of many replications of a day."""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from benchday.planning.engine import Day
from benchday.planning.forecast.pools import PoolUse
from benchday.planning.forecast.spread import Spread
from benchday.planning.model import Model

SHARES = (0.5, 0.8, 0.95)
"""Quantiles that are told of each unit."""


@dataclass(frozen=True, slots=True)
class UnitOutcome:
    """One unit over all replications."""

    id: str
    finish: Spread
    """Minutes; never where it was not begun."""
    late_probability: float
    """Share of replications in which it is not finished as promised, not begun among them; 0 without a promise."""
    not_begun: float
    """Share of replications in which closing time kept it from a stage."""


@dataclass(frozen=True, slots=True)
class Outcomes:
    """Everything that is kept of a forecast's replications."""

    model: Model
    engine: str
    """Which loop ran them."""
    finishes: array[float]
    """Minutes by replication, then unit; NaN where a unit was not begun."""
    makespans: array[float]
    pools: tuple[PoolUse, ...] = ()
    first_day: Day | None = None
    """Replication 0, stage by stage."""

    @property
    def replications(self) -> int:
        """How many days were run."""
        return len(self.makespans)

    @property
    def unit_ids(self) -> tuple[str, ...]:
        """The units in the order of the model."""
        return tuple(unit.id for unit in self.model.units)

    @property
    def makespan(self) -> Spread:
        """The day's end, minutes: the largest end of any unit's last stage."""
        return Spread.of(self.makespans)

    def finish_of(self, unit: int) -> array[float]:
        """Return one unit's finishes by replication, minutes; NaN where it was not begun.

        Args:
            unit: its place in the model.
        """
        return self.finishes[unit :: len(self.model.units)]

    def finish_in(self, replication: int) -> array[float]:
        """Return the finishes of one replication by unit, minutes; NaN where one was not begun."""
        units = len(self.model.units)
        return self.finishes[replication * units : (replication + 1) * units]

    def unit(self, unit: int) -> UnitOutcome:
        """Return what came of one unit.

        Args:
            unit: its place in the model.
        """
        promised, name = self.model.units[unit].promised, self.model.units[unit].id
        finish = Spread.of(self.finish_of(unit))
        late = 0.0 if promised is None else 1 - finish.share_by(promised)
        return UnitOutcome(name, finish, late, 1 - finish.share_by(1e308))

    def units(self) -> tuple[UnitOutcome, ...]:
        """Return what came of each unit, in the order of the model."""
        return tuple(self.unit(number) for number in range(len(self.model.units)))

    def done_by(self, minutes: float) -> float:
        """Return the share of replications in which every unit is finished by then."""
        return self.all_done.share_by(minutes)

    @property
    def all_done(self) -> Spread:
        """When every unit is finished, minutes; never where one was not begun."""
        return self.ready(range(len(self.model.units)))

    def ready(self, units: Iterable[int]) -> Spread:
        """Return when the last of these units is finished, minutes; never where one was not begun.

        Args:
            units: places in the model.
        """
        columns = [self.finish_of(unit) for unit in units]
        if not columns:
            return Spread.of(self.makespans)
        # max() of a NaN depends on the order; a sum keeps it.
        return Spread.of(math.nan if math.isnan(sum(row)) else max(row) for row in zip(*columns, strict=True))

    def crews(self, crews: Mapping[str, Iterable[str]]) -> dict[str, Spread]:
        """Return when each crew's last unit is finished.

        Args:
            crews: crew -> ids of its units.
        """
        places = {name: place for place, name in enumerate(self.unit_ids)}
        return {crew: self.ready([places[unit] for unit in units]) for crew, units in crews.items()}

    def not_begun(self) -> list[list[str]]:
        """Return the ids of the units not begun, by replication."""
        ids = self.unit_ids
        return [
            [name for name, end in zip(ids, self.finish_in(number), strict=True) if math.isnan(end)]
            for number in range(self.replications)
        ]

    def late_units(self) -> Spread:
        """Return how many units are not finished as promised, by replication; those not begun are late."""
        return Spread.of(sum(late for late, _ in row) for row in self._lateness())

    def tardiness(self) -> Spread:
        """Return the minutes by which units are finished later than promised, summed, by replication.

        A unit that was not begun has no finish and adds nothing here.
        """
        return Spread.of(math.fsum(minutes for _, minutes in row) for row in self._lateness())

    def _lateness(self) -> Iterable[Sequence[tuple[bool, float]]]:
        promised = [(n, u.promised) for n, u in enumerate(self.model.units) if u.promised is not None]
        for number in range(self.replications):
            finish = self.finish_in(number)
            yield [_late(finish[unit], limit) for unit, limit in promised]


def joined(parts: Sequence[Outcomes]) -> Outcomes:
    """Return what came of replications that were run in parts, one after the other by number.

    What is kept of the first replications alone, pools and first day, is the first part's.
    """
    first = parts[0]
    if len(parts) == 1:
        return first
    finishes, makespans = array("d"), array("d")
    for part in parts:
        finishes.extend(part.finishes)
        makespans.extend(part.makespans)
    return replace(first, finishes=finishes, makespans=makespans)


def _late(finish: float, promised: float) -> tuple[bool, float]:
    return (True, 0.0) if math.isnan(finish) else (finish > promised, max(finish - promised, 0.0))
