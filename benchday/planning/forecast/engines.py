"""Many days of one model: which loop runs them, and running them."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from enum import StrEnum
from importlib.util import find_spec
from typing import TYPE_CHECKING

from benchday.domain.errors import BenchdayError, InputError
from benchday.planning.forecast import compiled, compiled_days, compiled_draws, draws, loop
from benchday.planning.forecast.days import flat
from benchday.planning.forecast.gathered import Gathered
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.pools import WATCHED
from benchday.planning.forecast.prepared import Prepared, prepare
from benchday.planning.laws import Uniform
from benchday.planning.model import Durations, Model, ModelUnit, Stage, checked

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SMALL = {"loaded": 20_000, "kept": 500_000, "absent": 12_000_000}
"""Replications times stages that plain Python runs by itself, by what there is of the compiled loop. Plain Python runs
about 700,000 stages a second; loading what was kept takes about a second, compiling it ten to twenty."""


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


def warm() -> float:
    """Compile the compiled loop, if it can be had and is not there yet; return the seconds that took."""
    began = time.perf_counter()
    if best() is Engine.COMPILED:
        replicate(_SMALLEST, engine=Engine.COMPILED)
    return time.perf_counter() - began


_SMALLEST = Model((), (ModelUnit("one", 0.0, 0.0, (Stage("one", (), (), Uniform(1, 2)),)),), replications=1)


def choose(prepared: Prepared, replications: int, engine: str = Engine.AUTO, *, again: bool = False) -> Engine:
    """Return what is to run so many days.

    A compiler that has to be loaded first is not worth it for what plain Python does meanwhile, unless the same is
    asked ``again`` and again in this process.

    Raises:
        InputError: no such engine, or one that is not installed.
    """
    try:
        wanted = Engine(engine)
    except ValueError:
        raise InputError(f"there is no engine {engine!r}; there are {', '.join(Engine)}") from None
    if wanted is Engine.COMPILED and best() is not Engine.COMPILED:
        raise InputError("the compiled engine needs numba and numpy: pip install 'benchday[fast]'")
    if wanted is not Engine.AUTO:
        return wanted
    if best() is Engine.LOOP:
        return Engine.LOOP
    there_is = compiled.there_is()
    small = SMALL["loaded" if again and there_is == "kept" else there_is]
    return Engine.LOOP if replications * prepared.stages < small else Engine.COMPILED


def replicate(
    model: Model | Prepared,
    *,
    replications: int | None = None,
    seed: int | None = None,
    engine: str = Engine.AUTO,
    first: int = 0,
    again: bool = False,
    watched: int = WATCHED,
) -> Outcomes:
    """Draw and run many days.

    Args:
        model: the day, prepared or not.
        replications: the model's own number where None.
        seed: the model's own where None; equal seeds meet equal chances.
        engine: a name of ``Engine``.
        first: number of the first replication; what others make of those before it can be joined to this one's.
        again: the same will be asked again and again in this process.
        watched: replications whose pools are looked at; with 0 neither pools nor the first day are kept.

    Raises:
        DayCannotEnd: units wait for ever; the text says which and for what.
        InputError: no such engine.
    """
    prepared = model if isinstance(model, Prepared) else prepare(model)
    count = prepared.base.replications if replications is None else replications
    plan, from_seed = draws.plan(prepared.base), prepared.base.seed if seed is None else seed
    if choose(prepared, count, engine, again=again) is Engine.COMPILED:
        made = _compiled(
            prepared, lambda: compiled_draws.Drawing(plan, from_seed).blocks(count, first), engine, watched
        )
        if made is not None:
            return made
    return _run(prepared, draws.days(plan, from_seed, count, first), watched)


def replay(model: Model | Prepared, days: Iterable[Durations], *, engine: str = Engine.AUTO) -> Outcomes:
    """Run days on given durations, minutes by unit and stage.

    Raises:
        InputError: the durations are not those of this model; no such engine.
        DayCannotEnd: units wait for ever.
    """
    prepared = model if isinstance(model, Prepared) else prepare(model)
    rows = [flat(checked(prepared.base, day)) for day in days]
    if choose(prepared, len(rows), engine) is Engine.COMPILED:
        made = _compiled(prepared, lambda: compiled.given(rows), engine)
        if made is not None:
            return made
    return _run(prepared, rows)


def _compiled(
    prepared: Prepared, blocks: Callable[[], Iterable[NDArray[np.float64]]], engine: str, watched: int = WATCHED
) -> Outcomes | None:
    """Run blocks by the compiled loop; None if it breaks and nobody asked for it by name."""
    try:
        return compiled_days.run(prepared, blocks(), watched)
    except BenchdayError:
        raise
    except Exception:
        if engine != Engine.AUTO:
            raise
        return None


def _run(prepared: Prepared, days: Iterable[Sequence[float]], watched: int = WATCHED) -> Outcomes:
    gathered = Gathered(prepared, watched)
    for durations in days:
        gathered.add(durations, loop.day_times(prepared, durations))
    return gathered.outcomes(Engine.LOOP)
