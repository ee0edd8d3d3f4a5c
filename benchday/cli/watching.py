"""The face that only watches: one line for each thing that happens, while others do the work."""

from __future__ import annotations

from benchday.bench.desk import BenchDesk
from benchday.cli.stopping import bench_desk
from benchday.domain.clean import clean
from benchday.domain.seams import Desk
from benchday.domain.steps import State
from benchday.domain.telling.figures import clock

_TOLD = (State.WRITE, State.READY, State.HELD, State.HANDED_BACK, State.ABSENT)
"""The states whose beginning is worth a line."""


class Watcher:
    """Prints what becomes of the units."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet
        self._states: dict[str, State] = {}

    async def serve(self, desk: Desk) -> None:
        """Watch until cancelled."""
        bench = bench_desk(desk)
        while True:
            if not self._quiet:
                self._tell(bench)
            await bench.changed()

    def _tell(self, desk: BenchDesk) -> None:
        for story in desk.state.units.values():
            before = self._states.get(story.serial)
            self._states[story.serial] = story.state
            if story.state in _TOLD and story.state is not before:
                why = f": {story.held_reason}" if story.held_reason else ""
                at = f" on station {story.station}" if story.station else ""
                when = clock(desk.now(), desk.plan.zone)
                print(clean(f"{when}  {story.serial:<14} {story.model:<10} {story.state.value}{at}{why}"), flush=True)
