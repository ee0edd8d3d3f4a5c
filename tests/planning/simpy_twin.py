"""The same day written straightforwardly with SimPy: each unit is a process, a clerk grants after everything else."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, field
from heapq import heappush
from typing import Any

import simpy
from simpy.events import NORMAL, EventPriority

from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.policy import Phase, Pool

AFTER_ALL = 9
"""Order among SimPy's events of one instant; its own are 0 and 1."""


@dataclass
class Twin:
    """One day."""

    model: Model
    durations: list[list[float]]
    env: simpy.Environment = field(default_factory=simpy.Environment)
    queue: list[tuple[float, float, int, str, Stage, simpy.Event]] = field(default_factory=list)
    finish: dict[str, float] = field(default_factory=dict)
    starts: dict[str, list[float]] = field(default_factory=dict)
    not_begun: set[str] = field(default_factory=set)
    free: dict[str, int] = field(default_factory=dict)
    gates: dict[str, simpy.Event] = field(default_factory=dict)
    wanted: bool = False

    def run(self) -> Twin:
        """Run it until nothing happens any more."""
        self.free = {pool.name: pool.count for pool in self.model.pools}
        for unit in self.model.units:
            for stage in unit.stages:
                if stage.opens is not None:
                    self.gates.setdefault(stage.opens, self.env.event())
        for position, unit in enumerate(self.model.units):
            self.env.process(self.way(position, unit))
        for pool in self.model.pools:
            for _, end in pool.breaks:
                self.env.process(self.wake_at(end))
        self.env.run()
        return self

    def wake_at(self, end: float) -> Generator[simpy.Event, Any, None]:
        """Look at the queues when a break ends."""
        yield from self.until(end)
        self.call_clerk()

    def until(self, time: float) -> Generator[simpy.Event, Any, None]:
        """Wait for an instant without losing a bit: SimPy counts in delays, which added up may miss it."""
        event = self.env.event()
        event._ok, event._value = True, None
        # The queue of events takes absolute times.
        queue: list[Any] = self.env._queue
        heappush(queue, (time, NORMAL, next(self.env._eid), event))
        yield event

    def way(self, position: int, unit: ModelUnit) -> Generator[simpy.Event, Any, None]:
        """Lead one unit through its stages."""
        held: list[str] = []
        begun = self.starts.setdefault(unit.id, [])
        yield from self.until(unit.arrival)
        for number, stage in enumerate(unit.stages):
            if stage.waits_for is not None and not (yield self.gates[stage.waits_for]):
                return self.leave(unit, held)
            if not stage.takes and self.closed(stage):
                return self.leave(unit, held)
            for pool in stage.takes:
                granted = self.env.event()
                self.queue.append((unit.priority, self.env.now, position, pool, stage, granted))
                self.call_clerk()
                if not (yield granted):
                    return self.leave(unit, held)
                held.append(pool)
            begun.append(self.env.now)
            yield from self.until(self.env.now + self.durations[position][number])
            for pool in stage.frees:
                held.remove(pool)
                self.free[pool] += 1
            if stage.opens is not None and not self.gates[stage.opens].triggered:
                self.gates[stage.opens].succeed(True)
            self.call_clerk()
        self.finish[unit.id] = self.env.now
        return None

    def leave(self, unit: ModelUnit, held: list[str]) -> None:
        """Give everything back; a gate that only such units would have opened says no."""
        self.not_begun.add(unit.id)
        for pool in held:
            self.free[pool] += 1
        for gate, event in self.gates.items():
            openers = {u.id for u in self.model.units if any(s.opens == gate for s in u.stages)}
            if not event.triggered and openers <= self.not_begun:
                event.succeed(False)
        self.call_clerk()

    def closed(self, stage: Stage) -> bool:
        """Too late for this stage."""
        close = self.model.close
        return close is not None and stage.guard is not None and self.env.now + stage.guard > close

    def call_clerk(self) -> None:
        """Have the queues looked at after everything else of this instant."""
        if not self.wanted:
            self.wanted = True
            self.env.process(self.clerk())

    def after_all(self) -> simpy.Event:
        """Return an event that comes after all others of this instant."""
        event = self.env.event()
        event._ok, event._value = True, None
        self.env.schedule(event, priority=EventPriority(AFTER_ALL))
        return event

    def clerk(self) -> Generator[simpy.Event, Any, None]:
        """Grant places, then hands, until nothing is granted."""
        yield self.after_all()
        again = True
        while again:
            again = False
            for phase in (Phase.PLACES, Phase.HANDS):
                while self.grant_first(phase):
                    again = True
                    yield self.after_all()
        # Not before: what is freed while the clerk is at work is seen by the next round, not by a second clerk.
        self.wanted = False

    def grant_first(self, phase: Phase) -> bool:
        """Answer the first of the queue that can have what it asks for."""
        pools: dict[str, Pool] = {pool.name: pool for pool in self.model.pools}
        for asked in sorted(self.queue, key=lambda row: row[:3]):
            pool, stage, granted = pools[asked[3]], asked[4], asked[5]
            resting = any(start <= self.env.now < end for start, end in pool.breaks)
            if pool.phase is phase and self.free[pool.name] > 0 and not resting:
                self.queue.remove(asked)
                late = self.closed(stage)
                self.free[pool.name] -= 0 if late else 1
                granted.succeed(not late)
                return True

        return False
