"""On random small days: a search is never worse, the bound is valid, no change gains nothing, promises are monotone."""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.planning.engine import DayCannotEnd, run
from benchday.planning.forecast.bounds import lower_bound
from benchday.planning.forecast.days import flat
from benchday.planning.forecast.prepared import prepare
from benchday.planning.forecast.search import search
from benchday.planning.forecast.variants import ComesLater, MoreOf, Several, Variant, ordered
from benchday.planning.forecast.what_if import gains
from benchday.planning.laws import Fixed
from benchday.planning.model import Model
from tests.planning.days import random_day
from tests.planning.forecast.small_days import a_day, comes
from tests.planning.forecast.test_promises import promised

SEEDS = st.integers(0, 10**6)


def with_laws(model: Model, durations: list[list[float]]) -> Model:
    """Return a random day that takes its durations always."""
    units = tuple(
        replace(u, promised=5.0 + n, stages=tuple(replace(s, law=Fixed(d)) for s, d in zip(u.stages, row, strict=True)))
        for n, (u, row) in enumerate(zip(model.units, durations, strict=True))
    )
    return replace(model, units=units)


@settings(max_examples=60, deadline=None)
@given(SEEDS)
def test_a_search_is_never_worse_than_first_come_on_the_same_days(seed: int) -> None:
    model = with_laws(*random_day(seed))
    try:
        found = search(model, evaluations=25, draws=2, seed=seed)
    except DayCannotEnd:
        # As they ask, this day cannot end: no order is searched for it.
        return
    assert found.objective <= found.first_come
    assert set(found.order) <= {unit.id for unit in model.units}
    assert len(set(found.order)) == len(found.order)


@settings(max_examples=60, deadline=None)
@given(SEEDS)
def test_what_a_search_tells_of_an_order_is_what_the_plain_engine_says(seed: int) -> None:
    model, durations = random_day(seed)
    model = with_laws(model, durations)
    try:
        found = search(model, evaluations=25, draws=2, seed=seed)
    except DayCannotEnd:
        return
    turns = {unit: float(turn) for turn, unit in enumerate(found.order)}
    units = tuple(
        replace(u, priority=turns.get(u.id, min(u.priority, 0.0)) if u.priority >= 0 else u.priority)
        for u in model.units
    )
    day = run(replace(model, units=units), durations)
    assert day.makespan == found.end_minutes


@settings(max_examples=100, deadline=None)
@given(SEEDS)
def test_the_bound_is_never_above_what_the_plain_engine_reaches(seed: int) -> None:
    model, durations = random_day(seed)
    found = lower_bound(prepare(model), flat(durations))
    try:
        day = run(model, durations)
    except DayCannotEnd:
        return
    if all(day.finish[unit] is not None for unit in found.units):
        assert found.minutes <= day.makespan


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.floats(1, 60), min_size=1, max_size=6),
    st.integers(1, 3),
    st.floats(0, 0.4),
)
def test_what_changes_nothing_gains_nothing(minutes: list[float], stations: int, away: float) -> None:
    day = a_day(*(comes(f"u{n}", m, away=away, promised=20) for n, m in enumerate(minutes)), stations=stations)
    nothing = Several((MoreOf("station", 2), MoreOf("station", -2), ComesLater(frozenset({"u0"}), 0.0)))
    (found,) = gains(day, [Variant("nothing", nothing)], replications=30)
    for each in (found.p50, found.p80, found.late, found.begun, *found.crews.values()):
        assert (each.value, each.error) == (0.0, 0.0)
    assert found.buys_nothing


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(1, 60), min_size=1, max_size=6), st.floats(0.5, 0.99), st.floats(0.5, 0.99))
def test_promises_are_monotone_in_their_probability(minutes: list[float], one: float, other: float) -> None:
    day = a_day(*(comes(f"u{n}", m, away=0.1) for n, m in enumerate(minutes)), close=120.0)
    earlier, later = (promised(day, p, replications=50) for p in sorted((one, other)))
    for a, b in zip(earlier.crews, later.crews, strict=True):
        assert (a.at_us or math.inf) <= (b.at_us or math.inf)
        assert a.at_us is None or a.holds >= min(one, other)


@given(st.permutations(["u0", "u1", "u2"]))
def test_an_order_is_the_order_of_priorities(order: list[str]) -> None:
    day = ordered(a_day(*(comes(f"u{n}", 10) for n in range(3))), order)
    assert sorted(day.model.units, key=lambda u: u.priority) == sorted(day.model.units, key=lambda u: order.index(u.id))
