"""One drawn day to be shown as it would go: the one whose end is nearest the median of all."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from benchday.planning.forecast import draws
from benchday.planning.forecast.coming import LATE, stays_away
from benchday.planning.forecast.days import DayTimes
from benchday.planning.forecast.loop import day_times
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.prepared import Prepared, prepare
from benchday.planning.model import Model


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of a visit: one stage, or a wait before one."""

    name: str
    """Of the stage; of a wait, what is waited for: a pool or a gate."""
    start: float
    end: float
    waits: bool = False


@dataclass(frozen=True, slots=True)
class Visit:
    """A unit at one of a pool's places, from its grant until it is given back. Minutes."""

    unit: str
    row: int
    """Which of the pool's places, counted from 0."""
    start: float
    end: float
    parts: tuple[Part, ...]
    """Without a gap from its start to its end."""


@dataclass(frozen=True, slots=True)
class Typical:
    """The day that is shown. Minutes."""

    replication: int
    visits: Mapping[str, tuple[Visit, ...]]
    """Pool -> visits to its places, in order of their start."""
    came: Mapping[str, float] = field(default_factory=dict)
    """Unit -> when it comes, of those that were expected and come."""
    finish: Mapping[str, float] = field(default_factory=dict)
    """Unit -> when it leaves its station, done."""
    not_begun: tuple[str, ...] = ()
    """Units that are here and that closing time keeps from a stage."""
    stayed_away: tuple[str, ...] = ()
    """Units that do not come in this day."""


def nearest_median(outcomes: Outcomes) -> int:
    """Return the number of the replication whose end is nearest the median; of equally near ones the first."""
    median = outcomes.makespan.quantile(0.5) or 0.0
    ends = outcomes.makespans
    return min(range(len(ends)), key=lambda number: abs(ends[number] - median))


def durations_of(model: Model, seed: int, replication: int) -> list[float]:
    """Draw one replication's durations alone, the same as among many."""
    plan = draws.plan(model)
    block, row = divmod(replication, draws.BLOCK)
    rows = slice(row, row + 1)
    return [draws.column(plan, stage, seed, block, rows)[0] for stage in range(len(plan.parts))]


def typical_day(
    outcomes: Outcomes,
    *,
    pools: Collection[str],
    seed: int | None = None,
    at: Mapping[str, int] | None = None,
    kept: Collection[int] = (),
) -> Typical:
    """Run the day anew whose end is nearest the median, and tell who is where.

    Args:
        outcomes: of many replications, drawn from the model's laws.
        pools: whose places are to be told apart; the first is the stations.
        seed: of the draws; the model's own where None.
        at: unit -> which station it stands at when the model begins.
        kept: stations that nobody can be granted.
    """
    model = outcomes.model
    number = nearest_median(outcomes)
    durations = durations_of(model, model.seed if seed is None else seed, number)
    # Each stage as a stretch of its own, so that each has its grants told.
    prepared = prepare(model, joined=False)
    told = _Told(prepared, durations, day_times(prepared, durations))
    away = {unit.id for n, unit in enumerate(model.units) if told.stays_away(n)}
    left = [u.id for u, left in zip(model.units, told.times.left, strict=True) if not math.isnan(left)]
    names = {pool.name: n for n, pool in enumerate(model.pools) if pool.name in pools}
    first = next(iter(pools), None)
    visits = {
        name: _in_rows(told.visits(pool), *((at or {}, kept) if name == first else ({}, ())))
        for name, pool in names.items()
    }
    return Typical(
        replication=number,
        visits=visits,
        came={u.id: came for n, u in enumerate(model.units) if u.id not in away and (came := told.came(n)) is not None},
        finish={u.id: end for u, end in zip(model.units, told.times.finish, strict=True) if not math.isnan(end)},
        not_begun=tuple(unit for unit in left if unit not in away),
        stayed_away=tuple(unit for unit in left if unit in away),
    )


@dataclass(frozen=True, slots=True)
class _Told:
    """A day that was run stage by stage."""

    prepared: Prepared
    durations: Sequence[float]
    times: DayTimes

    def came(self, unit: int) -> float | None:
        """Return when a unit comes; None if it was not expected, or was here from the start."""
        model_unit = self.prepared.base.units[unit]
        if model_unit.stages[0].name != LATE:
            return model_unit.arrival or None
        return model_unit.arrival + self.durations[self.prepared.stage_first[unit]]

    def stays_away(self, unit: int) -> bool:
        """Tell whether a unit does not come."""
        return stays_away(self.prepared.base.units[unit], self.durations[self.prepared.stage_first[unit]])

    def visits(self, pool: int) -> Iterator[tuple[str, tuple[Part, ...]]]:
        """Yield each unit's visits to a pool's places, as their parts."""
        for unit, model_unit in enumerate(self.prepared.base.units):
            begun: float | None = None
            parts: list[Part] = []
            for stretch, start, end in self._stretches(unit):
                granted = self._granted(stretch, pool)
                if granted is not None:
                    begun = granted
                if begun is None:
                    continue
                parts += self._wait(stretch, parts[-1].end if parts else begun, start)
                if end is not None:
                    parts.append(Part(self._name(unit, stretch), start, end))
                if end is None or pool in self.prepared.table.frees[stretch]:
                    yield model_unit.id, tuple(part for part in parts if part.end > part.start)
                    begun, parts = None, []

    def _stretches(self, unit: int) -> Iterator[tuple[int, float, float | None]]:
        """Yield each stretch with its start and end; the one that closing kept it from last, with no end."""
        first, reached = self.prepared.stretch_first[unit] + 1, self.times.reached[unit]
        for stretch in range(first, reached):
            start = self._start(stretch)
            yield stretch, start, start + self.durations[self.prepared.table.firsts[stretch]]
        if not math.isnan(self.times.left[unit]):
            yield reached, self.times.left[unit], None

    def _takes(self, stretch: int) -> Sequence[float]:
        first, past = self.prepared.table.take_first[stretch : stretch + 2]
        return self.times.granted[first:past]

    def _start(self, stretch: int) -> float:
        granted = self._takes(stretch)
        return granted[-1] if granted else self.times.asked[stretch]

    def _granted(self, stretch: int, pool: int) -> float | None:
        pairs = zip(self.prepared.table.takes[stretch], self._takes(stretch), strict=True)
        return next((time for taken, time in pairs if taken == pool and not math.isnan(time)), None)

    def _name(self, unit: int, stretch: int) -> str:
        stage = self.prepared.table.firsts[stretch] - self.prepared.stage_first[unit]
        return self.prepared.base.units[unit].stages[stage].name

    def _wait(self, stretch: int, since: float, until: float) -> list[Part]:
        """Return the wait before a stretch: for its gate, then for what it takes; nothing if there is none."""
        table, waits = self.prepared.table, []
        asked = self.times.asked[stretch]
        asked = until if math.isnan(asked) else min(asked, until)
        if asked > since:
            gate = table.waits_for[stretch]
            waits.append(Part(self.prepared.gates[gate] if gate >= 0 else "", since, asked, waits=True))
        at = max(asked, since)
        for pool, granted in zip(table.takes[stretch], self._takes(stretch), strict=True):
            end = until if math.isnan(granted) else granted
            if end > at:
                waits.append(Part(self.prepared.base.pools[pool].name, at, end, waits=True))
                at = end
        return waits


def _in_rows(
    visits: Iterator[tuple[str, tuple[Part, ...]]], at: Mapping[str, int], kept: Collection[int]
) -> tuple[Visit, ...]:
    """Give each visit the first place that is free when it begins; those that stand somewhere already stay there."""
    told = sorted(((parts[0].start, unit, parts) for unit, parts in visits if parts), key=lambda v: (v[0], v[1]))
    first_start: dict[str, float] = {}
    for start, unit, _ in told:
        first_start.setdefault(unit, start)
    stands = {unit for unit, row in at.items() if first_start.get(unit) == 0.0 and row not in kept}
    free_from: dict[int, float] = dict.fromkeys(kept, math.inf)
    placed = []
    for start, unit, parts in sorted(told, key=lambda v: (v[0], v[1] not in stands)):
        row = at[unit] if start == 0.0 and unit in stands else _free(free_from, start)
        free_from[row] = parts[-1].end
        placed.append(Visit(unit, row, start, parts[-1].end, parts))
    return tuple(placed)


def _free(free_from: Mapping[int, float], start: float) -> int:
    row = 0
    while free_from.get(row, -math.inf) > start:
        row += 1
    return row
