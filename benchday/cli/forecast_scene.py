"""What the pictures of a forecast show, put together once: who is where in a typical day, names, hours, promises."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo

from benchday.domain.bench import Instruments
from benchday.domain.fold import DayState
from benchday.domain.plan import DayPlan
from benchday.domain.steps import State
from benchday.domain.telling.figures import clock
from benchday.planning.forecast.coming import Coming
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.outlook import AT_RISK
from benchday.planning.forecast.spread import Spread
from benchday.planning.forecast.telling import CrewTold, Told
from benchday.planning.forecast.typical import Typical, Visit, typical_day
from benchday.planning.gates import CHARGER, STATION
from benchday.planning.policy import Phase
from benchday.planning.wording import MINUTE_US

ENOUGH = 0.75
"""From this share of the whole day on there is no second scale for what happens at the stations."""


@dataclass(frozen=True, slots=True)
class Place:
    """One place and the units at it."""

    name: str
    visits: tuple[Visit, ...] = ()
    kept: str = ""
    """Serial of a unit that keeps it until somebody decides; empty if none does."""


@dataclass(frozen=True, slots=True)
class CrewRow:
    """One crew: when its units come, when all of them are ready, what was promised. Minutes."""

    title: str
    came: tuple[float, ...]
    """When its units come in the typical day."""
    typical: float | None
    """When the last is ready in the typical day; None if one is not begun."""
    ready: tuple[float | None, float | None, float | None]
    """By then in 50, 80 and 95 of 100 days; None: not even then."""
    promised: float | None
    kept: float | None
    """Share of days in which each of its units is ready as promised."""

    @property
    def at_risk(self) -> bool:
        """Tell whether its promise will probably not hold."""
        return self.kept is not None and self.kept < AT_RISK


@dataclass(frozen=True, slots=True)
class Scene:
    """A forecast to be drawn. Minutes after ``at_us``."""

    day: str
    date: str
    bench: str
    zone: tzinfo
    simulated: bool
    at_us: int
    live: bool
    """Minute 0 is now; else it is when the day opens."""
    outcomes: Outcomes
    told: Told
    done: Spread
    """When every unit that comes is done; never where one is not begun."""
    typical: Typical
    stations: tuple[Place, ...]
    chargers: tuple[Place, ...]
    crews: tuple[CrewRow, ...]
    breaks: tuple[tuple[float, float], ...]
    models: Mapping[str, str] = field(default_factory=dict)
    """Serial -> model."""
    crew_of: Mapping[str, str] = field(default_factory=dict)

    @property
    def close(self) -> float | None:
        """When the day closes."""
        return self.outcomes.model.close

    @property
    def ends(self) -> Spread:
        """When the last unit that was begun leaves its station."""
        return self.outcomes.makespan

    @property
    def places(self) -> tuple[Place, ...]:
        """The rows of the picture."""
        return (*self.stations, *self.chargers)

    @property
    def from_to(self) -> tuple[float, float]:
        """Whole hours of the clock that hold everything, as minutes."""
        promised = [crew.promised for crew in self.crews if crew.promised is not None]
        last = max([self.close or 0.0, *(v.end for p in self.places for v in p.visits), *promised, 60.0])
        begins = min([0.0, *(came for crew in self.crews for came in crew.came)])
        zero = int(self.clock(0).split(":")[1])
        # Rounded, so that a whole hour stays one.
        first, past = math.floor(round((begins + zero) / 60, 6)), math.ceil(round((last + zero) / 60, 6))
        return 60.0 * first - zero, 60.0 * past - zero

    @property
    def busy_from_to(self) -> tuple[float, float]:
        """Whole hours that hold what happens at the stations; everything, where that is not much more."""
        begins, ends = self.from_to
        last = max([self.ends.quantile(0.95) or 0.0, *(v.end for p in self.places for v in p.visits)])
        near = begins + 60.0 * max(math.ceil(round((last - begins) / 60, 6)), 2)
        return (begins, near) if near - begins < ENOUGH * (ends - begins) else (begins, ends)

    def clock(self, minutes: float) -> str:
        """Return local time of day."""
        return clock(self.at_us + round(minutes * MINUTE_US), self.zone)

    def model_of(self, unit: str) -> str:
        """Return a unit's model, empty if it is not known."""
        return self.models.get(unit, "")


def scene_of(
    plan: DayPlan,
    compiled: Compiled,
    outcomes: Outcomes,
    told: Told,
    *,
    state: DayState | None = None,
    seed: int | None = None,
) -> Scene:
    """Put together what is drawn.

    Args:
        plan: the day's inputs.
        compiled: the day, or its rest, as a model.
        outcomes: of its replications.
        told: what they say.
        state: of the day that runs; None before it begins.
        seed: of the draws; the model's own where None.
    """
    names = [station.name for station in plan.bench.stations]
    at, kept = _standing(state, compiled, names)
    typical = typical_day(outcomes, pools=(STATION, CHARGER), seed=seed, at=at, kept=tuple(kept))
    crew_of = {unit: title for title, units in compiled.crews.items() for unit in units}
    models = {row.serial: row.model for row in plan.roster}
    if state is not None:
        models |= {story.serial: story.model for story in state.units.values()}
    return Scene(
        day=plan.day.day,
        date=plan.hours.date,
        bench=plan.bench.name,
        zone=plan.zone,
        simulated=plan.day.instruments is Instruments.SIMULATED,
        at_us=compiled.at_us,
        live=state is not None,
        outcomes=outcomes,
        told=told,
        done=Coming.of(outcomes, seed).all_done,
        typical=typical,
        stations=_places(names, typical.visits.get(STATION, ()), kept),
        chargers=_charging([charger.name for charger in plan.bench.chargers], typical),
        crews=tuple(_crew(compiled, typical, crew) for crew in told.crews),
        breaks=tuple(dict.fromkeys(b for p in outcomes.model.pools if p.phase is Phase.HANDS for b in p.breaks)),
        models=models,
        crew_of=crew_of,
    )


def _standing(
    state: DayState | None, compiled: Compiled, names: Sequence[str]
) -> tuple[Mapping[str, int], Mapping[int, str]]:
    """Return which unit of the model stands at which station, and which stations others keep."""
    if state is None:
        return {}, {}
    served = {unit.id for unit in compiled.model.units}
    held = {
        names.index(story.places[STATION]): story.serial
        for story in state.units.values()
        if story.places.get(STATION) in names
    }
    done = (State.READY, State.HANDED_BACK)
    return (
        {serial: row for row, serial in held.items() if serial in served},
        {row: s for row, s in held.items() if s not in served and state.units[s].state not in done},
    )


def _places(names: Sequence[str], visits: Sequence[Visit], kept: Mapping[int, str]) -> tuple[Place, ...]:
    return tuple(
        Place(name, tuple(v for v in visits if v.row == row), kept.get(row, "")) for row, name in enumerate(names)
    )


def _charging(names: Sequence[str], typical: Typical) -> tuple[Place, ...]:
    """Return the chargers; none where nobody charges in the typical day."""
    visits = typical.visits.get(CHARGER, ())
    return _places(names, visits, {}) if visits else ()


def _crew(compiled: Compiled, typical: Typical, told: CrewTold) -> CrewRow:
    def minutes(at_us: int | None) -> float | None:
        return None if at_us is None else (at_us - compiled.at_us) / MINUTE_US

    there = [unit for unit in told.units if unit not in typical.stayed_away]
    done = [typical.finish[unit] for unit in there if unit in typical.finish]
    return CrewRow(
        title=told.title,
        came=tuple(sorted(typical.came[unit] for unit in told.units if unit in typical.came)),
        typical=max(done) if done and len(done) == len(there) else None,
        ready=(minutes(told.ready.p50_us), minutes(told.ready.p80_us), minutes(told.ready.p95_us)),
        promised=minutes(told.promised_us),
        kept=told.kept,
    )
