"""What is told of many days, by hand on few."""

from __future__ import annotations

import json
import math
import statistics
from dataclasses import replace

import pytest

from benchday.planning.forecast import draws, engines
from benchday.planning.forecast.document import document_of
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.spread import Spread
from benchday.planning.model import Model
from tests.planning.days import hands, places, stage, unit
from tests.planning.forecast.usual import usual_day


def two_at_one_station(engine: str = "loop", *, close: float | None = None) -> Outcomes:
    """a then b at one station, three days: b's write is guarded by 3 minutes."""
    units = (
        replace(unit("a", stage("look", "station", "station")), promised=4.0),
        replace(unit("b", stage("look", "station"), stage("write", "", "station", guard=3)), promised=6.0),
    )
    model = Model((places("station", 1), places("idle", 2)), units, close, quantiles=(0.0, 0.25, 1.0))
    return engines.replay(model, [[[2.0], [1.0, 1.0]], [[4.0], [1.0, 2.0]], [[6.0], [1.0, 3.0]]], engine=engine)


def test_makespan_units_and_lateness() -> None:
    """Ends 4, 7, 10; a is late on the third day, b on the second and third, by 2, 1 and 4 minutes."""
    outcomes = two_at_one_station()

    assert list(outcomes.makespans) == [4, 7, 10]
    assert (outcomes.makespan.mean, outcomes.makespan.sd) == (7, 3)
    assert outcomes.makespan.mean_error == pytest.approx(3 / math.sqrt(3))
    assert [u.late_probability for u in outcomes.units()] == pytest.approx([1 / 3, 2 / 3])
    assert list(outcomes.late_units().ordered) == [0, 1, 2]
    assert list(outcomes.tardiness().ordered) == [0, 1, 6]
    assert outcomes.done_by(7) == pytest.approx(2 / 3)
    assert outcomes.done_by(6.99) == pytest.approx(1 / 3)


def test_quantiles_by_linear_interpolation() -> None:
    """Between sorted values: 0.5 of 4, 7, 10, 20 lies half way from 7 to 10."""
    spread = Spread.of([20, 4, 10, 7])
    assert [spread.quantile(share) for share in (0, 0.5, 0.8, 1)] == [4, 8.5, pytest.approx(14), 20]
    assert spread.quantile(0.8) == pytest.approx(statistics.quantiles([4, 7, 10, 20], n=5, method="inclusive")[3])
    assert Spread.of([3.0]).quantile(0.95) == 3


def test_what_may_never_come_has_no_high_quantile() -> None:
    """Two of four days never: the median is not known, the lowest quarter is."""
    spread = Spread.of([5, math.nan, math.inf, 1])
    assert (spread.quantile(0), spread.quantile(0.5), spread.quantile(1)) == (1, None, None)
    assert spread.quantile(1 / 3) == 5
    assert (spread.mean, spread.share_by(100)) == (3, 0.5)
    assert (Spread.of([]).quantile(0.5), Spread.of([]).mean, Spread.of([]).share_by(1)) == (None, None, 0)


def test_errors_of_a_share_and_of_a_quantile() -> None:
    """A share's is binomial; a quantile's is half the way between those one error to each side."""
    spread = Spread.of(range(101))
    assert spread.share_by(49) == 50 / 101
    assert spread.share_error(49) == pytest.approx(math.sqrt(0.25 / 101), rel=1e-3)
    assert spread.quantile_error(0.5) == pytest.approx(100 * math.sqrt(0.25 / 101))
    assert Spread.of([1, math.inf]).quantile_error(0.5) is None


@pytest.mark.parametrize("engine", ["loop", "compiled"])
def test_not_begun_is_late_and_has_no_finish(engine: str) -> None:
    """Closing at 9: on the third day b looks until 7 and its write would end at 10 at the latest; it is not begun."""
    outcomes = two_at_one_station(engine, close=9.0)

    assert outcomes.not_begun() == [[], [], ["b"]]
    assert list(outcomes.makespans) == [4, 7, 6]
    b = outcomes.unit(1)
    assert [b.not_begun, b.late_probability] == pytest.approx([1 / 3, 2 / 3])
    assert (b.finish.quantile(0.5), b.finish.quantile(0.8)) == (7, None)
    assert list(outcomes.tardiness().ordered) == [0, 1, 2]
    assert outcomes.done_by(100) == pytest.approx(2 / 3)


def test_crews_are_ready_with_their_last_unit() -> None:
    """The larger of both; never where one was not begun."""
    outcomes = two_at_one_station(close=9.0)
    ready = outcomes.crews({"both": ["a", "b"], "one": ["a"]})
    assert list(ready["both"].ordered) == [4, 7, math.inf]
    assert list(ready["one"].ordered) == [2, 4, 6]


@pytest.mark.parametrize("engine", ["loop", "compiled"])
def test_how_busy_a_pool_is(engine: str) -> None:
    """One station, in use until 4, 7 and 10: by the minute, three, two and one of three days."""
    station, idle = two_at_one_station(engine).pools

    assert (station.name, station.count, station.slot_minutes) == ("station", 1, 1)
    assert station.busy == pytest.approx([1] * 4 + [2 / 3] * 3 + [1 / 3] * 3)
    assert station.grants == 2
    # b waits for a's look: 2, 4 and 6 minutes, among six grants.
    assert (station.waiting, station.wait) == (4, 2)
    assert station.full(0.6) == ((0, 7),)
    assert (idle.busy, idle.wait, idle.full()) == ((), 0, ())


@pytest.mark.parametrize("engine", ["loop", "compiled"])
def test_pools_of_a_unit_that_is_sent_away_are_free_from_then_on(engine: str) -> None:
    """It holds a station from 0 and hands from 2 on, and is sent away at 3 from its third stage."""
    way = (stage("sit", "station"), stage("ask", "hands"), stage("write", "", "station hands", guard=9))
    model = Model((places("station", 1), hands("hands", 1)), (unit("a", *way),), close=10.0)
    station, technician = engines.replay(model, [[[2.0, 1.0, 5.0]]], engine=engine).pools
    assert station.busy == pytest.approx([1, 1, 1])
    assert technician.busy == pytest.approx([0, 0, 1])


def test_busy_is_work_over_time_on_a_whole_day() -> None:
    """The mean use of a pool, summed over the slots, is the mean time it is held."""
    outcomes = engines.replicate(usual_day(40), replications=50, engine="loop")
    plan = draws.plan(outcomes.model)
    charger = next(use for use in outcomes.pools if use.name == "charger")
    expected = [0.0] * 50
    for unit_, row in enumerate(outcomes.model.units):
        for place, one in enumerate(row.stages):
            if one.name == "charge":
                of_all = sum(len(u.stages) for u in outcomes.model.units[:unit_]) + place
                column = draws.column(plan, of_all, outcomes.model.seed, 0)[:50]
                expected = [a + b for a, b in zip(expected, column, strict=True)]
    assert sum(charger.busy) * charger.slot_minutes == pytest.approx(statistics.fmean(expected))


def test_the_document_of_a_model() -> None:
    """The keys that outsiders read, and nothing that JSON cannot hold."""
    outcomes = two_at_one_station(close=9.0)
    document = json.loads(json.dumps(document_of(outcomes, makespans=True, finish=True, trace=True), allow_nan=False))

    assert document["makespan"] == {
        "mean": pytest.approx(17 / 3),
        "sd": pytest.approx(statistics.stdev([4, 7, 6])),
        "min": 4,
        "max": 7,
        "quantiles": {"0": 4, "0.25": 5, "1": 7},
    }
    assert document["late"] == {"mean_units_late": pytest.approx(1), "mean_total_tardiness": pytest.approx(1)}
    assert document["units"]["a"] == {
        "p50": 4,
        "p80": pytest.approx(5.2),
        "p95": pytest.approx(5.8),
        "late_probability": pytest.approx(1 / 3),
    }
    assert document["units"]["b"]["p95"] is None
    assert document["not_begun"] == [[], [], ["b"]]
    assert document["makespans"] == [4, 7, 6]
    assert document["finish"] == [[2, 4], [4, 7], [6, None]]
    assert document["trace"]["b"] == [
        {"stage": "look", "start": 2, "end": 3},
        {"stage": "write", "start": 3, "end": 4},
    ]
    assert set(document_of(outcomes)) == {"makespan", "late", "units", "not_begun"}


def test_a_thousand_units_a_thousand_times_stay_small() -> None:
    """What is kept is eight bytes for each finish."""
    outcomes = engines.replicate(usual_day(1000), replications=1000, engine="compiled")
    assert outcomes.finishes.itemsize * len(outcomes.finishes) == 8_000_000
    assert outcomes.unit(999).finish.quantile(0.5) is not None
