"""Orders searched: small days whose best order is plain, budgets, promises of crews, and what a search must not do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from benchday.planning.durations import Pert
from benchday.planning.forecast.engines import Engine, replicate
from benchday.planning.forecast.prepared import prepare
from benchday.planning.forecast.search import Found, drawn_days, rules, search, usual, usual_durations
from benchday.planning.forecast.trying import CompiledRuns, PlainRuns, Score, Trials, promises_of
from benchday.planning.laws import Fixed, Retried
from benchday.planning.model import Model, ModelUnit, Stage
from tests.planning.days import places
from tests.planning.forecast.usual import usual_day


def serves(name: str, minutes: float, *, promised: float | None = None, priority: float = 0.0) -> ModelUnit:
    """Return a unit that is so many minutes at a station."""
    stages = (Stage("serve", ("station",), ("station",), Fixed(minutes)),)
    return ModelUnit(name, 0.0, priority, stages, promised)


def found(*units: ModelUnit, stations: int = 1, close: float | None = None, **asked: object) -> Found:
    """Search an order for units at some stations."""
    budget: dict[str, object] = {"evaluations": 60, "draws": 3} | asked
    return search(Model((places("station", stations),), units, close), **budget)  # type: ignore[arg-type]


def test_the_longest_goes_first_where_two_stations_shall_end_together() -> None:
    order = found(serves("a", 3), serves("b", 3), serves("c", 6), stations=2)
    assert order.end_minutes == 6
    assert order.first_come_end_minutes == 9
    assert "c" in order.order[:2]
    assert order.gap == pytest.approx(0, abs=1e-6)


def test_who_was_promised_earlier_goes_first() -> None:
    order = found(serves("a", 30), serves("b", 10, promised=10), serves("c", 10, promised=20))
    assert order.order == ("b", "c", "a")
    assert (order.late_minutes, order.first_come.late) == (0.0, 30.0 + 30.0)


def test_a_promise_to_a_crew_is_counted_by_its_last_unit() -> None:
    units = (serves("a", 10, promised=5), serves("b", 10, promised=5), serves("c", 10, promised=9))
    order = found(*units, crews={"Avocet": ("a", "b"), "Plover": ("c",)})
    # The last of Avocet at 30, Plover at 10: 25 + 1; the other way round 15 + 21.
    assert order.order[0] == "c"
    assert order.late_minutes == 26.0


def test_a_crew_that_weighs_more_goes_first() -> None:
    units = (serves("a", 10, promised=5), serves("b", 10, promised=5))
    crews = {"Avocet": ("a",), "Plover": ("b",)}
    assert found(*units, crews=crews, weights={"Plover": 3.0}).order == ("b", "a")


def test_fewer_left_out_at_closing_counts_before_everything_else() -> None:
    units = tuple(
        replace(u, stages=(replace(u.stages[0], guard=u.stages[0].law.mean),))
        for u in (serves("a", 10, promised=10), serves("b", 4), serves("c", 4))
    )
    order = found(*units, close=10.0)
    assert order.order[0] != "a"
    assert (order.objective.left_out, order.first_come.left_out) == (1.0, 2.0)


def test_nothing_better_than_first_come_is_an_empty_order() -> None:
    order = found(serves("a", 5), serves("b", 5))
    assert order.order == ()
    assert order.objective == order.first_come


def test_a_unit_with_a_priority_below_0_stays_in_front() -> None:
    order = found(serves("a", 3), serves("b", 3, priority=-1), serves("c", 6), stations=2)
    assert order.order[0] == "b"
    assert order.objective <= order.first_come


def test_equal_numbers_of_evaluations_find_equal_orders() -> None:
    model = usual_day(12, gates=False)
    assert search(model, evaluations=80, draws=5, seed=3) == search(model, evaluations=80, draws=5, seed=3)


def test_a_search_stops_when_its_seconds_are_spent() -> None:
    clock: Iterator[float] = iter(n * 0.25 for n in range(1000))
    order = search(usual_day(5), seconds=10.0, draws=2, clock=lambda: next(clock))
    # The clock is looked at twice for each order.
    assert 15 < order.evaluations <= 30


def test_a_search_without_any_budget_is_refused() -> None:
    with pytest.raises(ValueError, match="a number of evaluations or of seconds"):
        search(usual_day(3), draws=2)


@pytest.mark.parametrize("units", [1, 2])
def test_one_or_two_units_are_searched_too(units: int) -> None:
    assert search(usual_day(units, gates=False), evaluations=10, draws=3).evaluations >= 3


def test_who_opens_a_gate_goes_before_those_who_wait_for_it() -> None:
    first = ModelUnit("first", 0, 0, (Stage("write", ("station",), ("station",), Fixed(2), opens="gate"),))
    others = tuple(
        ModelUnit(f"u{n}", 0, 0, (Stage("write", ("station",), ("station",), Fixed(9.0 + n), waits_for="gate"),))
        for n in range(4)
    )
    order = search(Model((places("station", 2),), (*others, first)), evaluations=200, draws=2)
    assert order.order in ((), ("first", *[u for u in order.order if u != "first"]))
    assert order.end_minutes <= order.first_come_end_minutes


def test_an_order_with_which_a_day_cannot_end_is_not_taken() -> None:
    # Gates at confirm: whoever comes before the first may fill all stations and wait there for ever.
    model = usual_day(20)
    order = search(model, evaluations=60, draws=3)
    turns = {unit: float(turn) for turn, unit in enumerate(order.order)}
    ordered = replace(model, units=tuple(replace(u, priority=turns.get(u.id, 0.0)) for u in model.units))
    assert replicate(ordered, replications=3).replications == 3


def test_drawn_days_shorten_the_end_of_other_days() -> None:
    model = usual_day(20, gates=False, seed=2)
    model = replace(model, units=tuple(replace(u, promised=None) for u in model.units))
    order = search(model, evaluations=400, draws=20, seed=5)
    turns = {unit: float(turn) for turn, unit in enumerate(order.order)}
    ordered = replace(model, units=tuple(replace(u, priority=turns[u.id]) for u in model.units))
    before, after = (replicate(m, replications=200, seed=77).makespan.quantile(0.8) for m in (model, ordered))
    assert before is not None
    assert after is not None
    assert after < before - 2


def test_an_order_is_given_up_only_if_it_is_worse() -> None:
    model = usual_day(15, gates=False, close=150)
    prepared = prepare(model)
    trials = Trials(prepared, drawn_days(prepared, 1, 20), promises_of(model), Engine.LOOP)
    orders = [[float((u * k) % 17) for u in range(15)] for k in range(1, 16)]
    scores = [trials.whole(order) for order in orders]
    for order, score in zip(orders, scores, strict=True):
        for other in scores:
            assert trials.score(order, other) == score or score > other


def test_compiled_and_plain_runs_give_equal_scores() -> None:
    prepared = prepare(usual_day(15, gates=False, close=150))
    days = drawn_days(prepared, 1, 20)
    plain, compiled = PlainRuns(prepared, days), CompiledRuns(prepared, days)
    for k in range(1, 6):
        order = [float((u * k) % 17) for u in range(15)]
        assert repr(compiled.run(order, 3, 20)) == repr([(list(f), end) for f, end in plain.run(order, 3, 20)])


def test_scores_are_compared_by_what_weighs_most() -> None:
    assert Score(0.0, 50.0, 9.0, 9.0) < Score(0.1, 0.0, 1.0, 1.0)
    assert Score(0.0, 50.0, 9.0, 9.0) < Score(0.0, 51.0, 1.0, 1.0)
    assert Score(0.0, 50.0, 9.0, 9.0) < Score(0.0, 50.0, 9.5, 1.0)


def test_the_rules_order_by_asking_work_and_promise() -> None:
    units = (serves("a", 3, promised=50), serves("b", 9), replace(serves("c", 4, promised=20), arrival=5.0))
    prepared = prepare(Model((places("station", 1),), units))
    assert rules(prepared, promises_of(prepared.base), range(3)) == [(0, 1, 2), (1, 2, 0), (2, 0, 1)]


def test_usual_durations_leave_out_what_comes_rarely() -> None:
    assert usual(Retried(Pert(1, 2, 3), 0.02, Fixed(500))) == 2
    assert usual(Retried(Fixed(1), 0.5, Fixed(4))) == 3
    assert usual_durations(prepare(Model((places("station", 1),), (serves("a", 3),)))) == [3]
