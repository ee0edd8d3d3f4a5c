"""The dispatch policy: who gets what is free. One pure rule for the live bench, the schedule and the forecast.

Times may be in any unit (the forecast's are minutes, the bench's microseconds), if a caller uses one throughout.
An instant has three phases: what ends or arrives frees its resources and puts its next ask; then places are granted;
then hands. The caller runs them in this order, again and again until nothing is granted, because whatever is free and
asked for is granted: nothing is taken away, reserved, or kept idle on purpose.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum


class Phase(StrEnum):
    """When in an instant a pool is granted."""

    PLACES = "places"
    """Stations, cables, adapters, chargers."""
    HANDS = "hands"
    """Operators; not granted in a break."""


@dataclass(frozen=True, slots=True)
class Pool:
    """So many things of one kind, each good for one unit at a time."""

    name: str
    count: int
    phase: Phase
    breaks: tuple[tuple[float, float], ...] = ()
    """Intervals [from, to) in which no attended stage may start."""

    def __post_init__(self) -> None:
        if self.count < 0:
            raise ValueError(f"pool {self.name} cannot hold {self.count}")
        if self.breaks and self.phase is not Phase.HANDS:
            raise ValueError(f"pool {self.name} has breaks, which only hands have")
        for start, end in self.breaks:
            if not start < end:
                raise ValueError(f"a break of {self.name} ends after it begins, not at {end} after {start}")
            if not -math.inf < start < end < math.inf:
                raise ValueError(f"a break of {self.name} from {start} to {end} has no end; give it one")

    def resting(self, now: float) -> bool:
        """Tell whether the instant lies in a break."""
        return any(start <= now < end for start, end in self.breaks)


@dataclass(frozen=True, slots=True)
class Ask:
    """One unit's request for one thing of one pool."""

    unit: str
    pool: str
    priority: float
    """Smaller goes first."""
    asked_at: float
    position: int
    """Place of the unit in the day's list; no two units share one."""

    @property
    def turn(self) -> tuple[float, float, int]:
        """What every queue is ordered by."""
        return (self.priority, self.asked_at, self.position)


def in_queue_order(asks: Iterable[Ask]) -> tuple[Ask, ...]:
    """Return the asks in the order of every queue: priority, time of asking, position."""
    return tuple(sorted(asks, key=lambda ask: ask.turn))


def next_grant(
    pools: Mapping[str, Pool], free: Mapping[str, int], asks: Iterable[Ask], phase: Phase, now: float
) -> Ask | None:
    """Return the one ask of this phase that is granted next, None if none can be.

    A unit that is granted may ask for its next thing of the same phase at this instant; it then stands in the same
    queue order as everybody else. Whoever has such units grants one by one and looks again.
    """
    return min(
        (ask for ask in asks if _can_have(pools[ask.pool], free[ask.pool], phase, now)),
        key=lambda ask: ask.turn,
        default=None,
    )


def grant(
    pools: Mapping[str, Pool], free: Mapping[str, int], asks: Sequence[Ask], phase: Phase, now: float
) -> tuple[Ask, ...]:
    """Return the asks of this phase that are granted now, in queue order.

    Args:
        pools: by name.
        free: how many of each pool are free now.
        asks: everything asked for and not granted, in any order, one ask a unit.
        phase: places or hands; asks for pools of the other phase are passed over.
        now: the instant, in the unit of ``asked_at`` and of the breaks.
    """
    left = dict(free)
    granted = []
    for ask in in_queue_order(asks):
        if _can_have(pools[ask.pool], left[ask.pool], phase, now):
            left[ask.pool] -= 1
            granted.append(ask)

    return tuple(granted)


def too_late(now: float, guard: float | None, close: float | None) -> bool:
    """Tell whether a stage with this guard must not begin any more, because it might not end before closing."""
    return guard is not None and close is not None and now + guard > close


def _can_have(pool: Pool, free: int, phase: Phase, now: float) -> bool:
    return pool.phase is phase and free > 0 and not pool.resting(now)
