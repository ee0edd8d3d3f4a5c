"""What holds of every day that the forecast's loops run, whatever the model says."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.planning.engine import Day, DayCannotEnd, run
from benchday.planning.forecast import engines, loop
from benchday.planning.forecast.days import DayTimes, begun, day_of, flat
from benchday.planning.forecast.prepared import Prepared, prepare
from benchday.planning.laws import Pert
from benchday.planning.model import Model, Stage
from benchday.planning.policy import Phase
from tests.planning.forecast.wild import wild_day

seeds = st.integers(0, 10**9)
minutes = st.sampled_from([0.1, 0.5, 1.0, 1.0, 2.0, 3.0, 7.25]) | st.floats(1e-6, 50, allow_nan=False)


@st.composite
def days(draw: st.DrawFn) -> tuple[Prepared, list[float], DayTimes]:
    """Draw a wild day that ends, with durations, and run it; one that does not end is run to its error only."""
    while True:
        model, durations = wild_day(draw(seeds))
        if draw(st.booleans()):
            durations = [[draw(minutes) for _ in row] for row in durations]
        prepared = prepare(model)
        try:
            return prepared, flat(durations), loop.day_times(prepared, flat(durations))
        except DayCannotEnd:
            continue


def found(replay: Callable[[], Day | None]) -> Day | str | None:
    """Return the day, or what kept it from ending."""
    try:
        return replay()
    except DayCannotEnd as wrong:
        return str(wrong)


@given(seeds, st.data())
@settings(max_examples=300, deadline=None)
def test_all_loops_agree(seed: int, data: st.DataObject) -> None:
    """On any durations: the same day or the same words."""
    model, durations = wild_day(seed)
    durations = [[data.draw(minutes) for _ in row] for row in durations]
    assert found(lambda: run(model, durations)) == found(lambda: loop.replay(prepare(model), durations))
    compiled = found(lambda: engines.replay(model, [durations], engine="compiled").first_day)
    assert compiled == found(lambda: run(model, durations))


@given(days())
@settings(max_examples=200, deadline=None)
def test_stages_follow_one_another(day: tuple[Prepared, list[float], DayTimes]) -> None:
    """No stage begins before the one ahead of it has ended, or before its unit is there; each lasts its duration."""
    prepared, durations, times = day
    told = day_of(prepared, durations, times)
    for number, unit in enumerate(prepared.base.units):
        now = unit.arrival
        rows = durations[prepared.stage_first[number] :]
        for start, end, lasts in zip(told.starts[number], told.ends[number], rows, strict=False):
            assert start >= now
            assert end == start + lasts
            now = end


def holdings(day: tuple[Prepared, list[float], DayTimes]) -> Iterator[tuple[float, int, int]]:
    """Yield every change of a pool: when, which, by how many."""
    prepared, durations, times = day
    table = prepared.table
    for unit, first in enumerate(prepared.stretch_first[:-1]):
        held: Counter[int] = Counter()
        for stretch in range(first, min(times.reached[unit] + 1, prepared.stretch_first[unit + 1])):
            for take, pool in enumerate(table.takes[stretch], table.take_first[stretch]):
                if not math.isnan(times.granted[take]):
                    held[pool] += 1
                    yield times.granted[take], pool, 1
            if stretch == times.reached[unit]:
                break
            end = begun(prepared, times, stretch)
            for stage in range(table.firsts[stretch], table.pasts[stretch]):
                end += durations[stage]
            for pool in table.frees[stretch]:
                held[pool] -= 1
                yield end, pool, -1
        if not math.isnan(times.left[unit]):
            for pool, count in held.items():
                yield times.left[unit], pool, -count


@given(days())
@settings(max_examples=200, deadline=None)
def test_nobody_has_what_is_not_there(day: tuple[Prepared, list[float], DayTimes]) -> None:
    """At no instant is more of a pool held than there is; what is freed in it may be granted in it."""
    prepared = day[0]
    used: Counter[int] = Counter()
    for _, pool, by in sorted(holdings(day), key=lambda change: (change[0], change[2])):
        used[pool] += by
        assert used[pool] <= prepared.counts[pool]


@given(days())
@settings(max_examples=200, deadline=None)
def test_nothing_is_kept_idle_on_purpose(day: tuple[Prepared, list[float], DayTimes]) -> None:
    """Rule 1: while a unit waits for a pool that has no break then, all of that pool is held."""
    prepared, _, times = day
    changes = sorted(holdings(day))
    for stretch, takes in enumerate(prepared.table.takes):
        since = times.asked[stretch]
        for take, pool in enumerate(takes, prepared.table.take_first[stretch]):
            granted = times.granted[take]
            if not granted > since:
                since = granted
                continue
            # From one change to the next the pool must be full or at rest.
            instants = sorted({since, granted, *(t for t, _, _ in changes if since < t < granted)})
            for early, late in pairwise(instants):
                used = sum(by for time, which, by in changes if which == pool and time <= early)
                resting = any(begin < late and early < end for begin, end in prepared.breaks[pool])
                assert used == prepared.counts[pool] or resting, prepared.base.pools[pool].name
            since = granted


@given(days())
@settings(max_examples=200, deadline=None)
def test_hands_do_not_begin_in_a_break(day: tuple[Prepared, list[float], DayTimes]) -> None:
    """Rule 3: no hands are granted in [from, to)."""
    prepared, _, times = day
    for take, pool in enumerate(pool for takes in prepared.table.takes for pool in takes):
        if prepared.base.pools[pool].phase is Phase.HANDS:
            assert not prepared.base.pools[pool].resting(times.granted[take])


@given(days())
@settings(max_examples=200, deadline=None)
def test_no_guarded_stage_begins_too_late(day: tuple[Prepared, list[float], DayTimes]) -> None:
    """Rule 7: a stage with a guard begins only if that much is left until closing."""
    prepared, durations, times = day
    told = day_of(prepared, durations, times)
    for number, unit in enumerate(prepared.base.units):
        for stage, start in zip(unit.stages, told.starts[number], strict=False):
            if stage.guard is not None and prepared.base.close is not None:
                assert start + stage.guard <= prepared.base.close


@given(seeds, st.integers(0, 100), st.booleans())
@settings(max_examples=60, deadline=None)
def test_draws_of_a_unit_are_its_own(seed: int, forecast_seed: int, reverse: bool) -> None:
    """With no pools to wait for, a unit's finishes are the same alone, among others, and in any order."""
    model, _ = wild_day(seed)
    alone = [replace(u, stages=tuple(_free(s) for s in u.stages)) for u in model.units]
    units = tuple(reversed(alone)) if reverse else tuple(alone)
    together = engines.replicate(Model((), units), replications=20, seed=forecast_seed)
    for place, unit in enumerate(units):
        by_itself = engines.replicate(Model((), (unit,)), replications=20, seed=forecast_seed)
        assert by_itself.finishes == together.finish_of(place)


def _free(stage: Stage) -> Stage:
    """Return the stage without anything that another unit could touch."""
    return replace(stage, takes=(), frees=(), guard=None, opens=None, waits_for=None, law=Pert(1, 2, 6))
