"""The document of ``forecast --json``, as models, and how that of a day is made."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from benchday.cli.document_parts import Document, Part
from benchday.cli.documents_gains import FurtherPart, further_facts
from benchday.cli.forecast_later import LaterDatesPart, later_facts
from benchday.cli.forecast_options import Further
from benchday.cli.foreknown import Foreknown
from benchday.domain.bench import Instruments
from benchday.planning.forecast.assumptions import assumptions
from benchday.planning.forecast.document import document_of
from benchday.planning.forecast.later_dates import LaterDates
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.telling import CrewTold, Told, When


class MakespanPart(Part):
    """The day's end over all replications, minutes after time 0."""

    mean: float | None
    sd: float
    min: float | None
    max: float | None
    quantiles: dict[str, float | None]
    """Share of replications -> minutes."""


class LatePart(Part):
    """Units that are not finished as promised; those that are not begun are late, and have no tardiness."""

    mean_units_late: float
    mean_total_tardiness: float
    """Minutes."""


class ForecastUnitPart(Part):
    """When one unit is finished, minutes after time 0; null: in so many replications it is not."""

    p50: float | None
    p80: float | None
    p95: float | None
    late_probability: float


class StagePart(Part):
    """One stage of one unit in replication 0, minutes after time 0."""

    stage: str
    start: float
    end: float


class WhenPart(Part):
    """A time that is not certain; null: not even in so many of 100 days."""

    p50_us: int | None
    p80_us: int | None
    p95_us: int | None


class ByPart(Part):
    """The chance that everything is done by a time."""

    at_us: int
    share: float
    closing: bool


class ForecastCrewPart(Part):
    """When all units of a crew are ready, of those that come."""

    crew: str
    units: list[str]
    ready: WhenPart
    promised_us: int | None
    """The latest of what its units were promised."""
    kept: float | None
    """Chance that each of its units is ready as promised."""


class ReadyPart(Part):
    """When one unit is ready, on days on which it comes."""

    serial: str
    ready: WhenPart
    promised_us: int | None
    kept: float | None
    not_begun: float
    """Chance that closing time keeps it from its write."""


class BottleneckPart(Part):
    """What units wait for most."""

    pool: str
    count: int
    wait_minutes: float
    """What one that asks for it waits."""
    waiting_minutes: float
    """What all together wait in a day."""
    full_us: list[tuple[int, int]]
    """When at least nine tenths of it are in use: from and to."""


class CannotPart(Part):
    """A unit that cannot be begun, or not be brought to its end, as things are."""

    serial: str
    reason: str
    share: float
    """Of days; 1 where it is certain."""
    stops: bool


class ForecastDayPart(Part):
    """What the forecast of a day says beyond that of a model."""

    folder: str
    day: str
    date: str
    time_zone: str
    simulated: bool
    under_way: bool
    """The record holds this day, begun: what is left of it is forecast."""
    at_us: int
    """Minute 0."""
    closes_us: int
    replications: int
    seed: int
    end: WhenPart
    by: list[ByPart]
    crews: list[ForecastCrewPart]
    ready: list[ReadyPart]
    bottleneck: BottleneckPart | None
    cannot_begin: list[CannotPart]
    assumptions: list[str]
    model: str | None
    """File that the model was written to."""
    svg: str | None
    """File that the picture was written to."""
    html: str | None
    """File that the page was written to."""
    further: FurtherPart
    """Order, changes, promises."""
    later_dates: LaterDatesPart | None
    """What closing keeps out, on the later dates that day.yaml lists; null if it lists one."""


class ForecastDocument(Document):
    """forecast --json"""

    makespan: MakespanPart
    late: LatePart
    units: dict[str, ForecastUnitPart]
    not_begun: list[list[str]]
    """Units that closing time keeps from a stage, by replication."""
    makespans: list[float] | None = None
    """With --durations."""
    finish: list[list[float | None]] | None = None
    """With --all: minutes by replication and unit."""
    trace: dict[str, list[StagePart]] | None = None
    """With --trace."""
    day: ForecastDayPart | None = None
    """Of a day; a model from a file has none."""


FORECAST_DOCUMENTS = {"forecast": ForecastDocument}


def forecast_facts(
    folder: str,
    basis: Foreknown,
    compiled: Compiled,
    outcomes: Outcomes,
    told: Told,
    files: Mapping[str, Path | None],
    further: Further,
    later: LaterDates | None,
) -> dict[str, Any]:
    """Return the document of a day's forecast; files that were written by what they are."""
    plan = basis.plan
    day = {
        "folder": folder,
        "day": plan.day.day,
        "date": plan.hours.date,
        "time_zone": plan.day.time_zone,
        "simulated": plan.day.instruments is Instruments.SIMULATED,
        "under_way": basis.state is not None,
        "at_us": told.at_us,
        "closes_us": told.closes_us,
        "replications": told.replications,
        "seed": compiled.model.seed,
        "end": _when(told.end),
        "by": [{"at_us": by.at_us, "share": by.share, "closing": by.closing} for by in told.by],
        "crews": [_crew(crew) for crew in told.crews],
        "ready": [
            {
                "serial": unit.serial,
                "ready": _when(unit.ready),
                "promised_us": unit.promised_us,
                "kept": unit.kept,
                "not_begun": unit.not_begun,
            }
            for unit in told.units
        ],
        "bottleneck": _bottleneck(told),
        "cannot_begin": [
            {"serial": out.serial, "reason": out.reason, "share": out.share, "stops": out.stops} for out in told.cannot
        ],
        "assumptions": list(assumptions(plan, basis.known, compiled, basis.steps)),
        **{what: None if file is None else str(file) for what, file in files.items()},
        "further": further_facts(further),
        "later_dates": later_facts(later),
    }
    return {**document_of(outcomes), "day": day}


def _when(when: When) -> dict[str, int | None]:
    return {"p50_us": when.p50_us, "p80_us": when.p80_us, "p95_us": when.p95_us}


def _crew(crew: CrewTold) -> dict[str, Any]:
    return {
        "crew": crew.title,
        "units": list(crew.units),
        "ready": _when(crew.ready),
        "promised_us": crew.promised_us,
        "kept": crew.kept,
    }


def _bottleneck(told: Told) -> dict[str, Any] | None:
    found = told.bottleneck
    if found is None:
        return None
    return {
        "pool": found.pool,
        "count": found.count,
        "wait_minutes": found.wait,
        "waiting_minutes": found.waiting,
        "full_us": [list(interval) for interval in found.full_us],
    }
