"""Many days of one model: which loop runs them, and running them."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from importlib.util import find_spec

from benchday.planning.engine import Day
from benchday.planning.forecast import draws, loop
from benchday.planning.forecast.days import day_of, flat
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.pools import WATCHED, PoolTally, PoolUse
from benchday.planning.forecast.prepared import Prepared, prepare
from benchday.planning.model import Durations, Model, checked


class Engine(StrEnum):
    """What runs the days; all give the same doubles."""

    AUTO = "auto"
    LOOP = "loop"
    """Plain Python."""
    COMPILED = "compiled"
    """Compiled by numba, where that is installed."""


def best() -> Engine:
    """Return the fastest that can be had here; nothing is loaded to find out."""
    return Engine.COMPILED if find_spec("numba") and find_spec("numpy") else Engine.LOOP


def replicate(
    model: Model | Prepared, *, replications: int | None = None, seed: int | None = None, engine: str = "auto"
) -> Outcomes:
    """Draw and run many days.

    Args:
        model: the day, prepared or not.
        replications: the model's own number where None.
        seed: the model's own where None; equal seeds meet equal chances.
        engine: a name of ``Engine``.

    Raises:
        DayCannotEnd: units wait for ever; the text says which and for what.
        ValueError: no such engine.
    """
    prepared = model if isinstance(model, Prepared) else prepare(model)
    count = prepared.base.replications if replications is None else replications
    drawn = draws.days(draws.plan(prepared.base), prepared.base.seed if seed is None else seed, count)
    return _run(prepared, drawn, Engine(engine))


def replay(model: Model | Prepared, days: Iterable[Durations], *, engine: str = "auto") -> Outcomes:
    """Run days on given durations, minutes by unit and stage.

    Raises:
        InputError: the durations are not those of this model.
        DayCannotEnd: units wait for ever.
        ValueError: no such engine.
    """
    prepared = model if isinstance(model, Prepared) else prepare(model)
    return _run(prepared, (flat(checked(prepared.base, day)) for day in days), Engine(engine))


@dataclass(slots=True)
class _Gathered:
    """What is kept, day by day."""

    prepared: Prepared
    finishes: array[float]
    makespans: array[float]
    tally: PoolTally | None = None
    first_day: Day | None = None

    def add(self, durations: Sequence[float]) -> None:
        times = loop.day_times(self.prepared, durations)
        self.finishes.extend(times.finish)
        self.makespans.append(times.makespan)
        if self.first_day is None:
            self.first_day = day_of(self.prepared, durations, times)
            self.tally = PoolTally.begun_with(self.prepared, times.makespan)
        if self.tally is not None and self.tally.days < WATCHED:
            self.tally.add(durations, times)


def _run(prepared: Prepared, days: Iterable[Sequence[float]], engine: Engine) -> Outcomes:
    del engine
    gathered = _Gathered(prepared, array("d"), array("d"))
    for durations in days:
        gathered.add(durations)
    uses: tuple[PoolUse, ...] = gathered.tally.uses() if gathered.tally is not None else ()
    return Outcomes(prepared.model, Engine.LOOP, gathered.finishes, gathered.makespans, uses, gathered.first_day)
