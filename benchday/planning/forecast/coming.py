"""Who stays away in which of the drawn days: a unit that does not come keeps nobody from being done."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from benchday.planning.forecast import draws
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.spread import Spread
from benchday.planning.laws import Fixed, Retried
from benchday.planning.model import ModelUnit

LATE = "late"
"""The first stage of a unit that is expected: it ends when the unit comes, or after closing if it does not."""


@dataclass(frozen=True, slots=True)
class Coming:
    """Many drawn days, and who stays away in each."""

    outcomes: Outcomes
    away: Mapping[str, frozenset[int]]
    """Unit -> numbers of the replications in which it does not come; units that always come are left out."""

    @classmethod
    def of(cls, outcomes: Outcomes, seed: int | None = None) -> Coming:
        """Draw again when each unit comes, the same as in the days that were run.

        Args:
            outcomes: of replications drawn from the model's laws.
            seed: of the draws; the model's own where None.
        """
        model, plan, away, stage = outcomes.model, draws.plan(outcomes.model), {}, 0
        for unit in model.units:
            if _may_stay_away(unit):
                late = _column(plan, stage, model.seed if seed is None else seed, outcomes.replications)
                away[unit.id] = frozenset(n for n, minutes in enumerate(late) if stays_away(unit, minutes))
            stage += len(unit.stages)

        return cls(outcomes, {unit: days for unit, days in away.items() if days})

    def ready(self, units: Collection[str]) -> Spread:
        """Return when the last of these that come is finished, minutes; never where one that came was not begun.

        Days in which none of them comes are left out.
        """
        places = {name: place for place, name in enumerate(self.outcomes.unit_ids)}
        nobody: frozenset[int] = frozenset()
        of = [(self.outcomes.finish_of(places[unit]), self.away.get(unit, nobody)) for unit in units]
        if of and not any(away for _, away in of):
            return Spread.of(map(_last, zip(*(finish for finish, _ in of), strict=True)))
        found = []
        for number in range(self.outcomes.replications):
            ends = [finish[number] for finish, away in of if number not in away]
            if ends:
                found.append(_last(ends))
        return Spread.of(found)

    @property
    def all_done(self) -> Spread:
        """When everything that came is finished, minutes; never where something was not begun."""
        return self.ready(self.outcomes.unit_ids)


def stays_away(unit: ModelUnit, late: float) -> bool:
    """Tell whether a unit does not come on a day on which this was drawn for its first stage, minutes."""
    law = unit.stages[0].law
    return (
        _may_stay_away(unit) and isinstance(law, Retried) and isinstance(law.extra, Fixed) and late >= law.extra.value
    )


def _may_stay_away(unit: ModelUnit) -> bool:
    first = unit.stages[0]
    return first.name == LATE and isinstance(first.law, Retried) and first.law.probability > 0


def _column(plan: draws.Plan, stage: int, seed: int, replications: int) -> Iterable[float]:
    for block in range(-(-replications // draws.BLOCK)):
        left = min(draws.BLOCK, replications - block * draws.BLOCK)
        yield from draws.column(plan, stage, seed, block, slice(0, left))


def _last(ends: Sequence[float]) -> float:
    # max() of a NaN depends on the order; a sum keeps it.
    return math.nan if math.isnan(sum(ends)) else max(ends)
