"""The rest of the day foreseen on two processors: each draws half of the days, one of them says what both show."""

from __future__ import annotations

import pickle
from array import array
from collections.abc import Callable
from functools import partial

import anyio

from benchday.bench.apart import Apart
from benchday.planning.forecast.engines import Engine, replicate
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes, joined
from benchday.planning.forecast.outlook import Outlook, outlook_of

Drawn = tuple[str, "array[float]", "array[float]"]
"""What a half hands back: the engine, finishes and makespans; not the model, which whoever asked has."""
WORTH_TWO = 50_000
"""Replications times stages, of which half are worth being handed to a second process: about a tenth of a second."""


async def outlook_apart(apart: Apart, compiled: Compiled, seed: int, engine: str = Engine.AUTO) -> Outlook:
    """Return what the drawn days show; the same, whether they are drawn in halves or not.

    Args:
        apart: two of its sums at once halve the time.
        compiled: the rest of the day.
        seed: of the draws.
        engine: which loop runs them.

    Raises:
        DayCannotEnd: units wait for ever; the text says which and for what.
        SumBroken: a process has gone.
    """
    model, count = compiled.model, compiled.model.replications
    # Made into bytes once, though three sums are handed it: a model of many units has thousands of parts.
    handed = pickle.dumps(compiled, protocol=pickle.HIGHEST_PROTOCOL)
    if count * sum(len(unit.stages) for unit in model.units) < WORTH_TWO:
        return await apart(partial(_whole, handed, seed, engine))
    half = count // 2
    halves = await _side_by_side(
        apart,
        partial(_drawn, handed, seed, 0, half, engine),
        partial(_drawn, handed, seed, half, count - half, engine),
    )
    return await apart(partial(_told, handed, halves))


async def _side_by_side(apart: Apart, *works: Callable[[], Drawn]) -> list[Drawn]:
    made: dict[int, Drawn] = {}
    failed: list[Exception] = []

    async def one(number: int, work: Callable[[], Drawn]) -> None:
        # Kept, not raised at once: that would cancel the other, and its process would be started anew.
        try:
            made[number] = await apart(work)
        except Exception as error:  # noqa: BLE001  # raised below
            failed.append(error)

    async with anyio.create_task_group() as tasks:
        for number, work in enumerate(works):
            tasks.start_soon(one, number, work)
    if failed:
        raise failed[0]
    return [made[number] for number in range(len(works))]


def _whole(handed: bytes, seed: int, engine: str) -> Outlook:
    compiled = _compiled(handed)
    return outlook_of(compiled, _replicated(compiled, seed, 0, compiled.model.replications, engine))


def _drawn(handed: bytes, seed: int, first: int, count: int, engine: str) -> Drawn:
    outcomes = _replicated(_compiled(handed), seed, first, count, engine)
    return outcomes.engine, outcomes.finishes, outcomes.makespans


def _told(handed: bytes, halves: list[Drawn]) -> Outlook:
    compiled = _compiled(handed)
    return outlook_of(compiled, joined([Outcomes(compiled.model, *half) for half in halves]))


def _compiled(handed: bytes) -> Compiled:
    compiled: Compiled = pickle.loads(handed)  # noqa: S301  # made above, by the process that started this one
    return compiled


def _replicated(compiled: Compiled, seed: int, first: int, count: int, engine: str) -> Outcomes:
    # An outlook tells nothing of pools: they are not watched.
    return replicate(compiled.model, replications=count, seed=seed, engine=engine, first=first, again=True, watched=0)
