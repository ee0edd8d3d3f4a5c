"""The face at which nobody sits: the day goes on until a person is needed and nothing else goes on."""

from __future__ import annotations

import anyio

from benchday.bench.desk import BenchDesk
from benchday.cli.stopping import bench_desk
from benchday.domain.seams import Desk
from benchday.domain.steps import State

SETTLED_S = 1.0
"""Real seconds without an entry, after which what waits for a person is taken to wait for nothing else."""

_WITHOUT_HANDS = (State.IDENTIFY, State.CHECK, State.PRESERVE, State.WRITE, State.RESTART, State.VERIFY)


class Nobody:
    """Answers nothing."""

    def __init__(self, operator: str) -> None:
        self._operator = operator

    async def serve(self, desk: Desk) -> None:
        """Return as soon as a person is needed and nothing else goes on."""
        bench = bench_desk(desk)
        await bench.act_as(self._operator, "pipe")
        await until_a_person_is_needed(bench)


async def until_a_person_is_needed(desk: BenchDesk) -> None:
    """Return once an item is open and nothing else goes on."""
    while True:
        if not desk.items() or goes_on(desk):
            await _news(desk, SETTLED_S)
        elif not await _news(desk, SETTLED_S):
            return


async def _news(desk: BenchDesk, within_s: float) -> bool:
    with anyio.move_on_after(within_s) as waiting:
        await desk.changed()
    return not waiting.cancelled_caught


def goes_on(desk: BenchDesk) -> bool:
    """Tell whether anything goes on that needs no person: a step on a station, a charge."""
    asked = {i.item.unit for i in desk.items()}
    return any(
        story.serial not in asked
        and (
            story.state in _WITHOUT_HANDS
            or (story.state is State.CHARGING and desk.now() < (story.charge_ends_us or 0))
        )
        for story in desk.state.units.values()
    )
