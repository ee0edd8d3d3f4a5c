"""The rest of the day foreseen on two processors: each draws half of the days, one of them says what both show."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import anyio

from benchday.bench.apart import Apart
from benchday.planning.forecast.engines import Engine, replicate
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes, joined
from benchday.planning.forecast.outlook import Outlook, outlook_of

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
    if count * sum(len(unit.stages) for unit in model.units) < WORTH_TWO:
        return await apart(partial(_whole, compiled, seed, engine))
    half = count // 2
    halves = await _side_by_side(
        apart,
        partial(_drawn, compiled, seed, 0, half, engine),
        partial(_drawn, compiled, seed, half, count - half, engine),
    )
    return await apart(partial(_told, compiled, halves))


async def _side_by_side(apart: Apart, *works: Callable[[], Outcomes]) -> list[Outcomes]:
    made: dict[int, Outcomes] = {}
    failed: list[Exception] = []

    async def one(number: int, work: Callable[[], Outcomes]) -> None:
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


def _whole(compiled: Compiled, seed: int, engine: str) -> Outlook:
    return outlook_of(compiled, _drawn(compiled, seed, 0, compiled.model.replications, engine))


def _drawn(compiled: Compiled, seed: int, first: int, count: int, engine: str) -> Outcomes:
    # An outlook tells nothing of pools: they are not watched.
    return replicate(compiled.model, replications=count, seed=seed, engine=engine, first=first, again=True, watched=0)


def _told(compiled: Compiled, halves: list[Outcomes]) -> Outlook:
    return outlook_of(compiled, joined(halves))
