"""When crews might come instead, so that their units wait less and nobody is ready later."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchday.planning.forecast import engines
from benchday.planning.forecast.coming import Coming
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.promises import ready_times
from benchday.planning.forecast.spread import Spread
from benchday.planning.forecast.trying import P80
from benchday.planning.forecast.variants import ComesLater, Several, comes_later
from benchday.planning.wording import MINUTE_US

STEPS = (120, 60, 30, 15)
"""Minutes by which a crew's coming is put off, the most first, again and again while nobody is ready later for it."""
TOLERANCE = 2.0
"""Minutes by which a time in 80 of 100 drawn days may differ and still counts as the same."""
REPLICATIONS = 200


@dataclass(frozen=True, slots=True)
class DropOff:
    """Another time for a crew."""

    title: str
    units: frozenset[str]
    later: float
    """Minutes after its time on the roster."""
    at_us: int
    """Day time of its first unit."""


@dataclass(frozen=True, slots=True)
class DropOffs:
    """Times suggested for the crews of a day, and what they save."""

    crews: tuple[DropOff, ...]
    """Those that might come later."""
    saved: float
    """Minutes that all units together are in the house less, the mean of the drawn days."""
    p80_before: float
    """Minutes: the day's end in 80 of 100 drawn days as the roster has it."""
    p80_after: float

    @property
    def change(self) -> Several:
        """The change of the day."""
        return Several(tuple(ComesLater(crew.units, crew.later) for crew in self.crews))


@dataclass(frozen=True, slots=True)
class _Times:
    """What must stay: ends in 80 of 100 drawn days, minutes; and how long units are in the house."""

    end: float
    left_out: float
    crews: Mapping[str, float]
    in_house: float
    """All units together, the mean of the drawn days."""

    def fits(self, before: _Times) -> bool:
        """Tell whether nothing is later than before, and no more is left out."""
        return (
            self.end <= before.end + TOLERANCE
            and self.left_out <= before.left_out
            and all(minutes <= before.crews[title] + TOLERANCE for title, minutes in self.crews.items())
        )


@dataclass(frozen=True, slots=True)
class _Looking:
    replications: int
    seed: int | None
    engine: str

    def times(self, compiled: Compiled) -> _Times:
        """Return the times of a day."""
        outcomes = engines.replicate(compiled.model, replications=self.replications, seed=self.seed, engine=self.engine)
        ready = ready_times(compiled, Coming.of(outcomes, self.seed))
        finished = [outcomes.finish_of(place) for place in range(len(compiled.model.units))]
        stays = (
            end - unit.arrival
            for unit, ends in zip(compiled.model.units, finished, strict=True)
            for end in ends
            if not math.isnan(end)
        )
        return _Times(
            end=outcomes.makespan.quantile(P80) or 0.0,
            left_out=sum(math.isnan(end) for ends in finished for end in ends) / self.replications,
            crews={title: _eighty(times) for title, times in ready.items()},
            in_house=math.fsum(stays) / self.replications,
        )


def _eighty(times: Sequence[float]) -> float:
    eighty = Spread.of(times).quantile(P80)
    return math.inf if eighty is None else eighty


def drop_offs(
    compiled: Compiled, *, replications: int = REPLICATIONS, seed: int | None = None, engine: str = engines.Engine.AUTO
) -> DropOffs:
    """Return the latest times at which crews might come while nothing ends later, crew by crew.

    Args:
        compiled: the day before it opens.
        replications: days drawn of each attempt.
        seed: of the draws; the model's own where None.
        engine: a name of ``Engine``.
    """
    looking = _Looking(replications, seed, engine)
    before = looking.times(compiled)
    # Those that are ready last first: they are in nobody's way.
    later = dict.fromkeys(sorted(_crews(compiled), key=lambda title: -before.crews[title]), 0.0)
    now = before
    for title in later:
        for step in STEPS:
            while (tried := looking.times(_put_off(compiled, later | {title: later[title] + step}))).fits(before):
                later[title] += step
                now = tried
    return DropOffs(
        crews=tuple(_drop_off(compiled, title, by) for title, by in later.items() if by),
        saved=before.in_house - now.in_house,
        p80_before=before.end,
        p80_after=now.end,
    )


def _crews(compiled: Compiled) -> list[str]:
    """Return the crews whose units are all still to come."""
    return [t for t, units in compiled.crews.items() if units and comes_later(compiled, t) == frozenset(units)]


def _put_off(compiled: Compiled, later: Mapping[str, float]) -> Compiled:
    changes = [ComesLater(comes_later(compiled, title), by) for title, by in later.items() if by]
    return Several(tuple(changes))(compiled)


def _drop_off(compiled: Compiled, title: str, by: float) -> DropOff:
    units = comes_later(compiled, title)
    first = min(unit.arrival for unit in compiled.model.units if unit.id in units)
    return DropOff(title, units, by, compiled.at_us + round((first + by) * MINUTE_US))
