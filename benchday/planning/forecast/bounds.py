"""How early a day can end at all, whatever the order: a bound from below on given durations.

Each time that a unit holds one of a pool is a job: it can begin no earlier than its head (the way there, if the unit
were alone), it lasts at least its stages, and its tail follows. Of m alike, no set of jobs with heads from r on and
tails of at least q is through before (the m least heads + the work + the m least tails) / m (Carlier 1987, identical
machines with heads and tails; for m = 1 it is Jackson's preemptive schedule). Hands begin nothing in a break, but go on
with what they are at: of each break all is lost but the longest job. The other bound is the longest single unit.

It holds for days on which every unit that comes is begun; what closing would keep out of an empty shop is left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from heapq import nsmallest

from benchday.planning.forecast.prepared import NONE, Prepared

SLACK = 1e-9
"""Share by which the bound is lowered: sums in another order may differ in their last digits."""


@dataclass(frozen=True, slots=True)
class Bound:
    """No order ends the day earlier."""

    minutes: float
    why: str
    """The pool or the unit that keeps it from ending earlier."""
    units: frozenset[int]
    """Places of the units that are in it: those that closing would not keep out of an empty shop."""


@dataclass(frozen=True, slots=True)
class _Job:
    """One time that a unit holds one of a pool, minutes."""

    head: float
    work: float
    tail: float


@dataclass(frozen=True, slots=True)
class _Way:
    """A unit's way through an empty shop."""

    begins: tuple[float, ...]
    """Earliest begin of each of its stretches."""
    minutes: tuple[float, ...]
    """Duration of each."""
    end: float
    begun: bool
    """Closing keeps it from nothing."""


def lower_bound(prepared: Prepared, durations: Sequence[float]) -> Bound:
    """Return the best bound.

    Args:
        prepared: the day.
        durations: of all stages, one unit after the other, minutes.
    """
    ways = _ways(prepared, durations)
    begun = [unit for unit, way in enumerate(ways) if way.begun]
    best = max(begun, key=lambda unit: ways[unit].end, default=None)
    minutes, why = (ways[best].end, f"unit {prepared.base.units[best].id}") if best is not None else (0.0, "nothing")
    for pool, jobs in enumerate(_jobs(prepared, ways, begun)):
        found = _pool_bound(jobs, prepared.counts[pool], prepared.breaks[pool])
        if found > minutes:
            minutes, why = found, prepared.base.pools[pool].name
    return Bound(minutes * (1 - SLACK), why, frozenset(begun))


def _ways(prepared: Prepared, durations: Sequence[float]) -> list[_Way]:
    """Return each unit's way; gates open when the first who opens them could at the earliest."""
    gates = [-math.inf] * len(prepared.gates)
    ways = [_way(prepared, durations, unit, gates) for unit in range(prepared.units)]
    for gate in range(len(gates)):
        # Openers that wait for a gate themselves only open later than this: the bound stays one.
        opened = (_opened(prepared, ways, unit, gate) for unit in range(prepared.units) if ways[unit].begun)
        gates[gate] = min((minutes for minutes in opened if minutes is not None), default=math.inf)
    return [_way(prepared, durations, unit, gates) for unit in range(prepared.units)] if gates else ways


def _opened(prepared: Prepared, ways: Sequence[_Way], unit: int, gate: int) -> float | None:
    if gate not in prepared.opened_by[unit]:
        return None
    first = prepared.stretch_first[unit]
    numbers = range(first, prepared.stretch_first[unit + 1])
    return min(
        ways[unit].begins[n - first] + ways[unit].minutes[n - first] for n in numbers if prepared.table.opens[n] == gate
    )


def _way(prepared: Prepared, durations: Sequence[float], unit: int, gates: Sequence[float]) -> _Way:
    table, now, begun = prepared.table, prepared.arrivals[unit], True
    begins, minutes = [], []
    for stretch in range(prepared.stretch_first[unit], prepared.stretch_first[unit + 1]):
        gate = table.waits_for[stretch]
        now = now if gate == NONE else max(now, gates[gate])
        for pool in table.takes[stretch]:
            now = _after_break(now, prepared.breaks[pool])
        begun = begun and now + table.guards[stretch] <= prepared.close
        work = sum(durations[stage] for stage in table.stages[stretch])
        begins.append(now)
        minutes.append(work)
        now += work
    return _Way(tuple(begins), tuple(minutes), now, begun)


def _after_break(now: float, breaks: Sequence[tuple[float, float]]) -> float:
    for start, end in sorted(breaks):
        if start <= now < end:
            now = end
    return now


def _jobs(prepared: Prepared, ways: Sequence[_Way], units: Sequence[int]) -> list[list[_Job]]:
    """Return the jobs of each pool."""
    jobs: list[list[_Job]] = [[] for _ in prepared.counts]
    for unit in units:
        for pool, job in _jobs_of(prepared, ways[unit], unit):
            jobs[pool].append(job)
    return jobs


def _jobs_of(prepared: Prepared, way: _Way, unit: int) -> Iterator[tuple[int, _Job]]:
    table, first = prepared.table, prepared.stretch_first[unit]
    held: dict[int, list[int]] = {}
    for place in range(len(way.begins)):
        for pool in table.takes[first + place]:
            held.setdefault(pool, []).append(place)
        for pool in table.frees[first + place]:
            taken = held[pool].pop(0)
            work, tail = sum(way.minutes[taken : place + 1]), sum(way.minutes[place + 1 :])
            yield pool, _Job(way.begins[taken], work, tail)
    for pool, places in held.items():
        yield from ((pool, _Job(way.begins[taken], sum(way.minutes[taken:]), 0.0)) for taken in places)


def _pool_bound(jobs: Sequence[_Job], count: int, breaks: Sequence[tuple[float, float]]) -> float:
    """Return the best bound over sets of jobs with heads from r and tails from q on."""
    if len(jobs) < count or not count:
        return 0.0
    best = 0.0
    by_tail = sorted(jobs, key=lambda job: -job.tail)
    for least in _some(job.head for job in jobs):
        chosen = [job for job in by_tail if job.head >= least]
        heads = sum(nsmallest(count, (job.head for job in chosen))) if len(chosen) >= count else None
        best = max(best, _over_tails(chosen, least, heads, count, breaks))
    return best


SETS = 40
"""Heads, and tails, at which a set of jobs is looked at, at most; more cost time and hardly raise the bound."""


def _some(values: Iterable[float]) -> list[float]:
    ordered = sorted(set(values))
    return ordered[:: max(1, len(ordered) // SETS)]


def _over_tails(
    chosen: Sequence[_Job], least: float, heads: float | None, count: int, breaks: Sequence[tuple[float, float]]
) -> float:
    """Go through the jobs by falling tail: each beginning of the list is a set."""
    best, work, longest = 0.0, 0.0, 0.0
    step = max(1, len(chosen) // SETS)
    for number, job in enumerate(chosen, 1):
        work += job.work
        longest = max(longest, job.work)
        if number % step and number < len(chosen):
            continue
        best = max(best, _through(least, work / count, longest, breaks) + job.tail)
        if heads is not None and number >= count:
            # The least heads of all these jobs are no later than those of the set.
            tails = sum(other.tail for other in chosen[number - count : number])
            best = max(best, (heads + work + tails) / count)
    return best


def _through(begin: float, work: float, longest: float, breaks: Sequence[tuple[float, float]]) -> float:
    """Return when the work of each hand is through if of each break all is lost but the longest job."""
    through = begin + work
    for start, end in _joined(breaks):
        if start >= begin and through - start > longest:
            through += max(end - start - longest, 0.0)
    return through


def _joined(breaks: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return breaks in order, those that overlap as one."""
    joined: list[tuple[float, float]] = []
    for start, end in sorted(breaks):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined
