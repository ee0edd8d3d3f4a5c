"""How early a day can end at all: exact small cases, and never above what any order reaches."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from itertools import permutations

import pytest

from benchday.planning.engine import DayCannotEnd, run
from benchday.planning.forecast.bounds import lower_bound
from benchday.planning.forecast.days import flat
from benchday.planning.forecast.loop import day_times
from benchday.planning.forecast.prepared import Prepared, prepare
from benchday.planning.model import Model, ModelUnit
from tests.planning.days import hands, places, random_day, stage, unit


def bound_of(model: Model, durations: list[list[float]]) -> float:
    """Return the bound on these durations."""
    return lower_bound(prepare(model), flat(durations)).minutes


def one_stage_units(count: int) -> tuple[ModelUnit, ...]:
    """Return units that are one stage at a station."""
    return tuple(unit(f"u{number}", stage("serve", "station", "station")) for number in range(count))


def test_the_work_of_all_over_the_stations() -> None:
    model = Model((places("station", 2),), one_stage_units(4))
    assert bound_of(model, [[3.0], [3.0], [3.0], [3.0]]) == pytest.approx(6)


def test_the_longest_single_unit() -> None:
    model = Model((places("station", 3),), one_stage_units(3))
    found = lower_bound(prepare(model), [1.0, 9.0, 1.0])
    assert found.minutes == pytest.approx(9)
    assert found.why == "unit u1"


def test_a_late_arrival_keeps_the_day_open() -> None:
    late = unit("late", stage("serve", "station", "station"), arrival=50)
    model = Model((places("station", 2),), (*one_stage_units(2), late))
    assert bound_of(model, [[3.0], [3.0], [4.0]]) == pytest.approx(54)


def test_heads_and_tails_count_where_one_thing_is_scarce() -> None:
    stages = (stage("connect"), stage("write", "cable", "cable"), stage("last look"))
    model = Model((places("cable", 1),), tuple(unit(f"u{n}", *stages) for n in range(3)))
    # The first way there, all three writes, the least way from there: 2 + 30 + 1.
    found = lower_bound(prepare(model), flat([[2.0, 10.0, 1.0], [2.0, 10.0, 4.0], [3.0, 10.0, 4.0]]))
    assert found.minutes == pytest.approx(33)
    assert found.why == "cable"


def test_of_a_break_all_is_lost_but_what_was_begun_before() -> None:
    model = Model(
        (hands("hands", 1, (10.0, 30.0)),), tuple(unit(f"u{n}", stage("look", "hands", "hands")) for n in range(4))
    )
    # 5 + 5 until 10, then 20 lost but a job of 5 that might have been begun at 9.99.
    assert bound_of(model, [[5.0]] * 4) == pytest.approx(35)
    assert run(model, [[5.0]] * 4).makespan == 40


def test_who_waits_for_a_gate_begins_after_the_first_is_verified() -> None:
    first = unit("first", stage("write", "station", "station", opens="gate"))
    then = unit("then", stage("write", "station", "station", waits_for="gate"))
    model = Model((places("station", 2),), (first, then))
    assert bound_of(model, [[10.0], [7.0]]) == pytest.approx(17)


def test_what_closing_keeps_out_of_an_empty_shop_is_left_out() -> None:
    writes = [unit(f"u{n}", stage("write", "station", "station", guard=9), arrival=10.0 * n) for n in range(3)]
    found = lower_bound(prepare(Model((places("station", 3),), tuple(writes), close=20.0)), [8.0, 8.0, 8.0])
    assert found.units == {0, 1}
    assert found.minutes == pytest.approx(18)


def test_it_is_never_above_the_best_of_all_orders() -> None:
    looked_at = 0
    for seed in range(150):
        model, durations = random_day(seed)
        prepared = prepare(model)
        if prepared.units > 5:
            continue
        found = lower_bound(prepared, flat(durations))
        best = min(ends_of_all_orders(prepared, flat(durations), found.units), default=math.inf)
        assert found.minutes <= best, seed
        looked_at += best < math.inf
    assert looked_at > 60


def ends_of_all_orders(prepared: Prepared, durations: list[float], units: frozenset[int]) -> Iterator[float]:
    """Yield the makespan of every order with which these units are begun."""
    for order in permutations(range(prepared.units)):
        yield from end_of(prepared, [float(turn) for turn in order], durations, units)


def end_of(
    prepared: Prepared, priorities: list[float], durations: list[float], units: frozenset[int]
) -> Iterator[float]:
    """Yield the makespan of one order if with it the day can end and these units are begun."""
    try:
        times = day_times(prepared.variant(priorities=priorities), durations)
    except DayCannotEnd:
        return
    if not any(math.isnan(times.finish[unit]) for unit in units):
        yield times.makespan


def test_it_is_never_above_what_many_random_orders_reach() -> None:
    source = random.Random(4)
    for seed in range(300):
        model, durations = random_day(1000 + seed)
        prepared = prepare(model)
        found = lower_bound(prepared, flat(durations))
        for _ in range(5):
            priorities = [source.random() for _ in model.units]
            assert all(found.minutes <= end for end in end_of(prepared, priorities, flat(durations), found.units))
