"""What is kept of replications while they are run."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field

from benchday.planning.engine import Day
from benchday.planning.forecast.days import DayTimes, day_of
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.pools import WATCHED, PoolTally
from benchday.planning.forecast.prepared import Prepared


@dataclass(slots=True)
class Gathered:
    """Finishes and makespans of all days, the pools of the first ones, and the first day stage by stage."""

    prepared: Prepared
    watched: int = WATCHED
    """Replications whose pools are looked at; with none the first day is not kept either."""
    finishes: array[float] = field(default_factory=lambda: array("d"))
    makespans: array[float] = field(default_factory=lambda: array("d"))
    tally: PoolTally | None = None
    first_day: Day | None = None

    def add(self, durations: Sequence[float], times: DayTimes) -> None:
        """Add one day."""
        self.finishes.extend(times.finish)
        self.makespans.append(times.makespan)
        if self.watched and self.tally is None:
            self.begin(durations, times)
        if self.tally is not None and self.tally.days < self.watched:
            self.tally.add(durations, times)

    def begin(self, durations: Sequence[float], times: DayTimes) -> PoolTally:
        """Keep the first day, and make a grid for the pools."""
        self.first_day = day_of(self.prepared, durations, times)
        self.tally = PoolTally.begun_with(self.prepared, times.makespan)
        return self.tally

    def outcomes(self, engine: str) -> Outcomes:
        """Return what came of it."""
        if self.tally is None or not self.watched:
            return Outcomes(self.prepared.model, engine, self.finishes, self.makespans)
        uses = self.tally.uses()
        return Outcomes(self.prepared.model, engine, self.finishes, self.makespans, uses, self.first_day)
