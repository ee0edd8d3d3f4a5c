"""Ticks: volatile progress on a live channel, never stored; entries mark at most one milestone a minute."""

from __future__ import annotations

from dataclasses import dataclass

from benchday.domain.kinds import StepMilestone
from benchday.domain.playbook import StepName
from benchday.domain.readings import Progress
from benchday.domain.seams import Clock

_MINUTE_US = 60_000_000


@dataclass(slots=True)
class Tick:
    """How far a unit's long operation has come."""

    step: StepName
    what: str
    done: int
    of: int
    at_us: int
    """Day time at which it was told."""
    first_us: int
    """Day time at which this operation's first tick came."""


class Ticks:
    """The latest tick of each unit; whoever draws them looks here."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.now: dict[str, Tick] = {}
        self._milestones: dict[str, int] = {}

    def show(self, unit: str, step: StepName, progress: Progress) -> StepMilestone | None:
        """Take a tick; return the milestone that is due if a real minute has passed since the last."""
        at = self._clock.now()
        last = self.now.get(unit)
        same = last is not None and last.what == progress.what and last.step is step
        first = last.first_us if same and last is not None else at
        self.now[unit] = Tick(step, progress.what, progress.done, progress.of, at, first)
        mono = self._clock.monotonic()
        since = self._milestones.setdefault(unit, mono)
        if mono - since < _MINUTE_US:
            return None
        self._milestones[unit] = mono
        return StepMilestone(step=step.value, percent=100 * progress.done // max(progress.of, 1))

    def forget(self, unit: str) -> None:
        """The unit's operation is over."""
        self.now.pop(unit, None)
        self._milestones.pop(unit, None)
