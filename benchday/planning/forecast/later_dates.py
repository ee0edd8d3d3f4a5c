"""What does not fit on the first date of a day is served on the next: drawn day by drawn day.

The units that closing keeps out on a date stay with the shop and are there when the next one opens, in the same order;
a unit is then served anew from its connection on. Benches, operators, breaks and durations are the same. Who does not
come on the first date comes on none.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from benchday.domain.plan import DayPlan
from benchday.planning.forecast import draws, loop
from benchday.planning.forecast.coming import LATE, Coming
from benchday.planning.forecast.modelling import Coming as ComingUnit
from benchday.planning.forecast.modelling import Compiled, Known, gates_for, pools_for
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.prepared import prepare
from benchday.planning.forecast.telling import When
from benchday.planning.model import Model
from benchday.planning.wording import MINUTE_US

LOOKED_AT = 200
"""So many of the drawn days go on to later dates: what is left differs, and each rest is a model of its own."""
SHARES = (0.5, 0.8, 0.95)


@dataclass(frozen=True, slots=True)
class DateTold:
    """One later date."""

    date: str
    opens_us: int
    closes_us: int
    needed: float
    """Share of drawn days in which something is left for it."""
    units: tuple[int, int]
    """How many units come over to it at most in 50 and in 80 of 100 of those days."""
    end: When
    """When it ends, of the days in which it is needed; None in it where in fewer everything is done on it."""
    serials: Mapping[str, float]
    """Unit -> share of all drawn days in which it is served on this date or still waits after it."""


@dataclass(frozen=True, slots=True)
class LaterDates:
    """All later dates of a day together."""

    days: int
    """Drawn days that were looked at."""
    dates: tuple[DateTold, ...]
    all_done: When
    """When everything that can be served is done, on whichever date; None: not on any in so many days."""
    crews: Mapping[str, When]
    """Crew's title -> when all its units are ready, of the crews that not always are on the first date."""


def later_dates(plan: DayPlan, known: Known, compiled: Compiled, outcomes: Outcomes) -> LaterDates | None:
    """Go on with what the first date leaves; None if the day has one date only.

    Args:
        plan: the day's inputs.
        known: what the forecast rests on.
        compiled: the first date, or what is left of it.
        outcomes: of its replications.
    """
    if len(plan.day.hours) < 2:
        return None
    days = _first_date(compiled, outcomes)
    known = replace(known, priorities={unit.id: unit.priority for unit in compiled.model.units})
    told = []
    for number in range(1, len(plan.day.hours)):
        date = _Date.of(plan, known, number)
        left = [frozenset(unit for unit, end in day.items() if math.isinf(end)) for day in days]
        for day, ends in zip(days, date.run(left, [date.verified(day) for day in days]), strict=True):
            day.update(ends)
        told.append(date.told(left, days))
    return LaterDates(
        days=len(days),
        dates=tuple(told),
        all_done=_when(max(day.values(), default=-math.inf) for day in days),
        crews=dict(_crews(compiled, days, told[0].opens_us)),
    )


def _first_date(compiled: Compiled, outcomes: Outcomes) -> list[dict[str, float]]:
    """Return when each unit that comes is done, by drawn day: as day time in microseconds, infinite if not on it."""
    away, ids = Coming.of(outcomes).away, outcomes.unit_ids
    nobody: frozenset[int] = frozenset()
    return [
        {
            unit: math.inf if math.isnan(end) else compiled.clock_us(end)
            for unit, end in zip(ids, outcomes.finish_in(number), strict=True)
            if number not in away.get(unit, nobody)
        }
        for number in range(min(outcomes.replications, LOOKED_AT))
    ]


def _crews(compiled: Compiled, days: Sequence[Mapping[str, float]], next_opens_us: int) -> Iterator[tuple[str, When]]:
    for title, units in compiled.crews.items():
        ready = [max((day[unit] for unit in units if unit in day), default=-math.inf) for day in days]
        if any(us >= next_opens_us for us in ready):
            yield title, _when(us for us in ready if us > -math.inf)


def _when(ends_us: Iterable[float]) -> When:
    """Return the day times by which so many are done; never one between two dates, so always one that was drawn."""
    ordered = sorted(ends_us)
    found = [ordered[math.ceil(share * len(ordered)) - 1] if ordered else math.inf for share in SHARES]
    return When(*(None if math.isinf(us) else int(us) for us in found))


@dataclass(frozen=True, slots=True)
class _Date:
    """A later date, and its units as they would be there."""

    plan: DayPlan
    """Whose first date this one is."""
    known: Known
    units: Mapping[str, ComingUnit]

    @classmethod
    def of(cls, plan: DayPlan, known: Known, number: int) -> _Date:
        """Take a day's date by its number."""
        plan = replace(plan, day=plan.day.model_copy(update={"hours": plan.day.hours[number:]}))
        # Other chances than on the dates before.
        known = replace(known, seed=known.seed + number)
        comings = (ComingUnit.of(plan, known, row, 0.0, place) for place, row in enumerate(plan.roster))
        return cls(plan, known, {c.row.serial: c for c in comings if c.missing is None})

    @property
    def opens_us(self) -> int:
        return self.plan.at_us(self.plan.hours.opens)

    @property
    def close(self) -> float:
        """Minutes after the opening."""
        return (self.plan.at_us(self.plan.hours.closes) - self.opens_us) / MINUTE_US

    def verified(self, day: Mapping[str, float]) -> frozenset[tuple[str, str]]:
        """Return models and releases of which a unit was done on a date before: nobody waits for a first of those."""
        done = (c for serial, c in self.units.items() if not math.isinf(day.get(serial, math.inf)))
        return frozenset((c.row.model, release) for c in done if c.candidate for release in c.candidate.releases)

    def run(
        self, left: Sequence[frozenset[str]], verified: Sequence[frozenset[tuple[str, str]]]
    ) -> list[dict[str, float]]:
        """Run the date on each drawn day with what is left for it; return when each of those is done, as day time."""
        alike: dict[tuple[frozenset[str], frozenset[tuple[str, str]]], list[int]] = {}
        for day, key in enumerate(zip(left, verified, strict=True)):
            alike.setdefault(key, []).append(day)
        ends: list[dict[str, float]] = [{} for _ in left]
        for (units, kinds), numbers in alike.items():
            if units:
                for number, found in zip(numbers, self._run(units, kinds, len(numbers)), strict=True):
                    ends[number] = found
        return ends

    def _run(
        self, units: frozenset[str], verified: frozenset[tuple[str, str]], count: int
    ) -> Iterator[dict[str, float]]:
        model = self._model(units, verified)
        prepared = prepare(model)
        ids = [unit.id for unit in model.units]
        for durations in draws.days(draws.plan(model), self.known.seed, count):
            finish = loop.day_times(prepared, durations).finish
            yield {
                unit: math.inf if math.isnan(end) else self.opens_us + round(end * MINUTE_US)
                for unit, end in zip(ids, finish, strict=True)
            }

    def _model(self, units: frozenset[str], verified: frozenset[tuple[str, str]]) -> Model:
        """Return the date with these units, all there when it opens."""
        comings = [c for serial, c in self.units.items() if serial in units]
        gates = gates_for(self.plan, (c.candidate for c in comings if c.candidate is not None), verified)
        made = (c.unit(gates, self.close) for c in comings)
        there = tuple(replace(u, stages=tuple(s for s in u.stages if s.name != LATE)) for u in made)
        return Model(pools_for(self.plan, self.opens_us), there, self.close, 1, self.known.seed)

    def told(self, left: Sequence[frozenset[str]], days: Sequence[Mapping[str, float]]) -> DateTold:
        """Say what came of it on the drawn days."""
        needed = [(units, day) for units, day in zip(left, days, strict=True) if units]
        counts = sorted(len(units) for units, _ in needed)
        serials = sorted({unit for units in left for unit in units})
        return DateTold(
            date=self.plan.hours.date,
            opens_us=self.opens_us,
            closes_us=self.opens_us + round(self.close * MINUTE_US),
            needed=len(needed) / len(left) if left else 0.0,
            units=(_at(counts, 0.5), _at(counts, 0.8)),
            end=_when(max(day[unit] for unit in units) for units, day in needed),
            serials={serial: sum(serial in units for units in left) / len(left) for serial in serials},
        )


def _at(counts: Sequence[int], share: float) -> int:
    return counts[math.ceil(share * len(counts)) - 1] if counts else 0
