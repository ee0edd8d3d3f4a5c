"""The day that is shown is one of the drawn days, whole: who is where, what each waits for, who does not come."""

from __future__ import annotations

import math
from array import array
from itertools import pairwise

import pytest

from benchday.planning.forecast import draws
from benchday.planning.forecast.coming import Coming
from benchday.planning.forecast.engines import replicate
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.typical import Part, Visit, durations_of, nearest_median, typical_day
from benchday.planning.laws import Fixed, Retried, Uniform
from benchday.planning.model import Model, ModelUnit, Stage
from tests.planning.days import hands, places, stage, unit
from tests.planning.forecast.usual import usual_day

POOLS = ("station", "charger")


def ends(*makespans: float) -> Outcomes:
    """Return outcomes of days that end at these minutes."""
    return Outcomes(Model((), ()), "loop", array("d"), array("d", makespans))


@pytest.mark.parametrize(("makespans", "number"), [((5.0, 9.0, 7.0), 2), ((1.0, 9.0, 7.0, 3.0), 2), ((4.0, 4.0), 0)])
def test_the_day_that_is_shown_ends_nearest_the_median(makespans: tuple[float, ...], number: int) -> None:
    assert nearest_median(ends(*makespans)) == number


@pytest.mark.parametrize("replication", [0, 255, 256, 290])
def test_one_day_alone_is_drawn_as_among_many(replication: int) -> None:
    model = usual_day(6)
    among_many = list(draws.days(draws.plan(model), 5, 300))
    assert durations_of(model, 5, replication) == list(among_many[replication])


@pytest.mark.parametrize("seed", [0, 1, 3])
@pytest.mark.parametrize("close", [None, 150.0])
def test_it_is_one_of_the_days_that_were_run(seed: int, close: float | None) -> None:
    outcomes = replicate(usual_day(24, seed=seed, close=close), replications=300, engine="loop")
    typical = typical_day(outcomes, pools=POOLS)
    finish = dict(zip(outcomes.unit_ids, outcomes.finish_in(typical.replication), strict=True))
    assert typical.finish == {unit: end for unit, end in finish.items() if not math.isnan(end)}
    assert {*typical.finish, *typical.not_begun} == set(outcomes.unit_ids)
    assert not typical.stayed_away


@pytest.mark.parametrize("close", [None, 150.0])
def test_places_hold_one_unit_at_a_time_and_every_unit_is_somewhere(close: float | None) -> None:
    outcomes = replicate(usual_day(30, close=close), replications=50, engine="loop")
    typical = typical_day(outcomes, pools=POOLS)
    for pool in outcomes.model.pools:
        visits = typical.visits.get(pool.name, ())
        for row in {visit.row for visit in visits}:
            assert 0 <= row < pool.count
            assert all(a.end <= b.start for a, b in pairwise(v for v in visits if v.row == row))
    assert set(typical.finish) <= {visit.unit for visit in typical.visits["station"]}
    assert typical.visits["charger"]


def test_the_parts_of_a_visit_leave_no_gap() -> None:
    for visit in typical_day(replicate(usual_day(30), replications=9, engine="loop"), pools=POOLS).visits["station"]:
        assert (visit.parts[0].start, visit.parts[-1].end) == (visit.start, visit.end)
        assert all(a.end == b.start for a, b in pairwise(visit.parts))
        assert [p.name for p in visit.parts if not p.waits][-1] == "last look"


def test_a_wait_says_what_is_waited_for() -> None:
    first = unit(
        "a", stage("connect", "station hands", "hands"), stage("write", opens="gate"), stage("x", "", "station")
    )
    second = unit(
        "b",
        stage("connect", "station hands", "hands"),
        stage("write", waits_for="gate"),
        stage("last look", "cable", "cable station"),
        arrival=0.0,
    )
    third = unit(
        "c", stage("hold", "cable", ""), stage("more", "", ""), stage("still", "", ""), stage("off", "", "cable")
    )
    model = Model((places("station", 2), places("cable", 1), hands("hands", 1)), (first, second, third))
    outcomes = replicate(model, replications=1, engine="loop")
    _, b = typical_day(outcomes, pools=("station",)).visits["station"]
    assert b == Visit(
        "b",
        1,
        0.0,
        5.0,
        (
            Part("hands", 0.0, 1.0, waits=True),
            Part("connect", 1.0, 2.0),
            Part("write", 2.0, 3.0),
            Part("cable", 3.0, 4.0, waits=True),
            Part("last look", 4.0, 5.0),
        ),
    )


def test_a_wait_for_the_first_of_a_kind_is_named_by_its_gate() -> None:
    first = unit("a", stage("connect", "station"), stage("write"), stage("verify", frees="station", opens="Osier 2.10"))
    second = unit("b", stage("connect", "station"), stage("write", waits_for="Osier 2.10"), stage("off", "", "station"))
    outcomes = replicate(Model((places("station", 2),), (first, second)), replications=1, engine="loop")
    _, b = typical_day(outcomes, pools=("station",)).visits["station"]
    assert Part("Osier 2.10", 1.0, 3.0, waits=True) in b.parts


def test_units_stand_where_they_are_and_kept_places_stay_free() -> None:
    units = tuple(unit(name, stage("connect", "station"), stage("off", "", "station")) for name in "abc")
    outcomes = replicate(Model((places("station", 2),), units), replications=1, engine="loop")
    visits = typical_day(outcomes, pools=("station",), at={"a": 3, "b": 0}, kept=(1,)).visits["station"]
    assert {visit.unit: visit.row for visit in visits} == {"a": 3, "b": 0, "c": 0}


def may_stay_away(name: str, chance: float) -> ModelUnit:
    """Return a unit that comes a little late, or after closing at 60 min with a chance."""
    late = Stage("late", (), (), Retried(Uniform(0, 5), chance, Fixed(61.0)))
    return ModelUnit(name, 0.0, 0.0, (late, stage("connect", "station", guard=1.0), stage("off", "", "station")))


def test_who_stays_away_keeps_nobody_from_being_done() -> None:
    units = (may_stay_away("a", 0.5), may_stay_away("b", 0.0))
    outcomes = replicate(Model((places("station", 2),), units, 60.0), replications=600, engine="loop")
    coming = Coming.of(outcomes)
    away = coming.away["a"]
    assert set(coming.away) == {"a"}
    assert 240 < len(away) < 360
    assert away == {n for n, end in enumerate(outcomes.finish_of(0)) if math.isnan(end)}
    assert outcomes.done_by(60.0) == pytest.approx(1 - len(away) / 600)
    assert coming.all_done.share_by(60.0) == 1.0
    assert len(coming.ready(["a"]).ordered) == 600 - len(away)


def test_who_comes_and_is_not_begun_is_never_done() -> None:
    units = (may_stay_away("a", 0.2), unit("b", stage("connect", "station", guard=61.0), stage("off", "", "station")))
    outcomes = replicate(Model((places("station", 2),), units, 60.0), replications=50, engine="loop")
    assert Coming.of(outcomes).all_done.quantile(0.0) is None


def test_the_day_that_is_shown_tells_who_stays_away_from_who_is_not_begun() -> None:
    units = (may_stay_away("a", 1.0), unit("b", stage("connect", "station", guard=61.0), stage("off", "", "station")))
    outcomes = replicate(Model((places("station", 2),), units, 60.0), replications=3, engine="loop")
    typical = typical_day(outcomes, pools=("station",))
    assert (typical.stayed_away, typical.not_begun, typical.visits["station"]) == (("a",), ("b",), ())
    assert typical.came == {}
