"""What can be promised to whom, and what would save a promise that will probably not hold."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchday.planning.forecast import engines
from benchday.planning.forecast.coming import Coming
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.outlook import AT_RISK
from benchday.planning.forecast.spread import Spread
from benchday.planning.forecast.variants import GoesFirst, MoreOf, Variant, pool_word
from benchday.planning.wording import MINUTE_US

ROUNDED_US = 5 * MINUTE_US
"""Promises are told in steps of five minutes, rounded up."""
FEW = 80
"""Replications that tell whether a promise would be saved: its share is known to about 0.05."""


@dataclass(frozen=True, slots=True)
class CrewPromise:
    """What can be promised to a crew."""

    title: str
    at_us: int | None
    """Day time; None if not even closing time is likely enough."""
    holds: float
    """Share of drawn days in which all its units that come are ready by then; by closing where no time is told."""


@dataclass(frozen=True, slots=True)
class Promises:
    """What can be promised, each alone with at least a probability."""

    probability: float
    crews: tuple[CrewPromise, ...]
    together: float
    """Share of drawn days in which all that are told hold together."""


def promises(compiled: Compiled, outcomes: Outcomes, probability: float, seed: int | None = None) -> Promises:
    """Return the times that can be promised.

    Args:
        compiled: the day.
        outcomes: of its replications.
        probability: that each must hold with.
        seed: of the draws; the model's own where None.
    """
    ready = ready_times(compiled, Coming.of(outcomes, seed))
    crews = tuple(_promise(compiled, title, times, probability) for title, times in ready.items())
    told = [(ready[crew.title], _minutes(compiled, crew.at_us)) for crew in crews if crew.at_us is not None]
    days = range(outcomes.replications)
    held = sum(all(times[day] <= limit for times, limit in told) for day in days)
    return Promises(probability, crews, held / len(days) if days else 1.0)


def ready_times(compiled: Compiled, days: Coming) -> dict[str, list[float]]:
    """Return when each crew is ready, minutes by replication: infinite where one that came was not begun.

    Where none of its units comes, nobody waits: it is ready from the start.
    """
    places = {name: place for place, name in enumerate(days.outcomes.unit_ids)}
    nobody: frozenset[int] = frozenset()
    found = {}
    for title, units in compiled.crews.items():
        done = max((_minutes(compiled, us) for us in compiled.ready_us.get(title, ())), default=0.0)
        columns = [(days.outcomes.finish_of(places[unit]), days.away.get(unit, nobody)) for unit in units]
        found[title] = [
            max([done, *(_never(finish[day]) for finish, away in columns if day not in away)])
            for day in range(days.outcomes.replications)
        ]
    return found


def _never(end: float) -> float:
    return math.inf if math.isnan(end) else end


def _minutes(compiled: Compiled, us: int) -> float:
    return (us - compiled.at_us) / MINUTE_US


def _promise(compiled: Compiled, title: str, times: Sequence[float], probability: float) -> CrewPromise:
    ordered = Spread.of(times)
    # The least time by which at least this share of days is through; between two days nothing is promised.
    least = ordered.ordered[max(math.ceil(probability * len(times)) - 1, 0)] if times else 0.0
    if math.isinf(least):
        return CrewPromise(title, None, 1 - sum(map(math.isinf, times)) / len(times))
    at_us = -(-compiled.clock_us(least) // ROUNDED_US) * ROUNDED_US
    return CrewPromise(title, at_us, ordered.share_by(_minutes(compiled, at_us)))


def holds(compiled: Compiled, title: str, *, replications: int = FEW, seed: int | None = None) -> float | None:
    """Return the share of drawn days in which all of a crew's units that come are ready by its earliest promise.

    None if nothing was promised to it.
    """
    promised = [compiled.promised_us[u] for u in compiled.crews.get(title, ()) if u in compiled.promised_us]
    if not promised:
        return None
    outcomes = engines.replicate(compiled.model, replications=replications, seed=seed)
    times = ready_times(compiled, Coming.of(outcomes, seed))[title]
    limit = _minutes(compiled, min(promised))
    return sum(time <= limit for time in times) / len(times)


def promise_saved(compiled: Compiled, title: str, *, replications: int = FEW, seed: int | None = None) -> str:
    """Return what would save a promise to a crew that is at risk; empty if nothing that is tried does.

    What costs nothing is tried first. It saves the promise if it holds in 80 of 100 drawn days then.

    Args:
        compiled: the rest of the day.
        title: the crew's.
        replications: days drawn of each thing that is tried.
        seed: of the draws; the model's own where None.
    """
    for variant in _savers(compiled, title):
        share = holds(variant.change(compiled), title, replications=replications, seed=seed)
        if share is not None and share >= AT_RISK:
            return variant.name
    return ""


def _savers(compiled: Compiled, title: str) -> Iterator[Variant]:
    units = frozenset(compiled.crews.get(title, ()))
    yield Variant(f"letting the units of {title} go first", GoesFirst(units))
    used = {pool for unit in compiled.model.units for stage in unit.stages for pool in stage.takes}
    # Hands come last in a model, and are what is had soonest.
    for pool in reversed(compiled.model.pools):
        if pool.name in used:
            yield Variant(f"one more {pool_word(pool.name)}", MoreOf(pool.name, 1))
