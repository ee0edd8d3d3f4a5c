"""What can be promised, what would save a promise, other drop-off times, how many units a day holds."""

from __future__ import annotations

import time
from itertools import pairwise

import pytest

from benchday.planning.durations import Pert
from benchday.planning.forecast.coming import Coming
from benchday.planning.forecast.dropping import drop_offs
from benchday.planning.forecast.engines import replicate
from benchday.planning.forecast.fitting import fits, of_mix
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.promises import Promises, holds, promise_saved, promises, ready_times
from benchday.planning.laws import Uniform
from tests.planning.forecast.small_days import OPENS_US, a_day, at_us, comes

SPREAD = Pert(10, 20, 45)
AVOCET: dict[str, tuple[str, ...]] = {"crew Avocet": ("a", "b")}


def promised(compiled: Compiled, probability: float, replications: int = 200) -> Promises:
    """Return what can be promised on a day."""
    return promises(compiled, replicate(compiled.model, replications=replications), probability)


def test_a_promise_is_rounded_up_to_five_minutes_and_holds_as_often_as_asked() -> None:
    found = promised(a_day(comes("a", Uniform(0, 100))), 0.9, replications=1000)
    (crew,) = found.crews
    # Nine in ten are done within 90 minutes: by 09:30, or 09:35 where chance has it.
    assert crew.at_us in (at_us("09:30"), at_us("09:35"))
    assert 0.9 <= crew.holds < 0.96
    assert found.together == crew.holds


def test_all_together_hold_less_often_than_each_alone() -> None:
    day = a_day(*(comes(f"u{n}", Uniform(0, 100)) for n in range(4)), stations=4, technicians=4)
    found = promised(day, 0.8, replications=1000)
    assert found.together == pytest.approx(0.8**4, abs=0.1)
    assert all(crew.holds >= 0.8 for crew in found.crews)


def test_who_does_not_come_is_not_waited_for() -> None:
    (crew,) = promised(a_day(comes("a", 30), comes("b", 30, away=0.5), crews=AVOCET), 0.95).crews
    # 09:00 with both, and a little for what else is done.
    assert crew.at_us == at_us("09:05")
    assert crew.holds == 1.0


def test_what_closing_may_leave_out_cannot_be_promised() -> None:
    day = a_day(comes("a", Uniform(20, 40), guard=40), comes("b", 30, guard=30), close=61.0)
    first, second = promised(day, 0.9).crews
    assert first.at_us is not None
    assert second.at_us is None
    assert 0.3 < second.holds < 0.7


def test_a_higher_probability_is_never_promised_earlier() -> None:
    day = a_day(*(comes(f"u{n}", SPREAD, away=0.1) for n in range(6)), stations=2)
    found = [promised(day, p) for p in (0.5, 0.7, 0.8, 0.9, 0.95, 0.99)]
    for earlier, later in pairwise(found):
        for one, other in zip(earlier.crews, later.crews, strict=True):
            assert one.at_us is not None
            assert other.at_us is None or one.at_us <= other.at_us
        assert earlier.together <= later.together


def test_a_crew_is_not_ready_before_its_units_that_are_done() -> None:
    day = a_day(comes("a", 30))
    done = Compiled(day.model, day.at_us, day.crews, ready_us={"crew a": (OPENS_US + 45 * 60_000_000,)})
    times = ready_times(done, Coming.of(replicate(done.model, replications=2)))
    assert times == {"crew a": [45.0, 45.0]}


def test_going_first_saves_a_promise_where_others_are_in_the_way() -> None:
    day = a_day(comes("a", 60), comes("b", 30, promised=40))
    assert holds(day, "crew b") == 0.0
    assert holds(day, "crew a") is None
    assert promise_saved(day, "crew b") == "letting the units of crew b go first"


def test_a_station_saves_a_promise_that_going_first_does_not() -> None:
    day = a_day(comes("a", 30, promised=40), comes("b", 30, promised=40), crews=AVOCET)
    assert promise_saved(day, "crew Avocet") == "one more station"


def test_nothing_saves_a_promise_that_is_too_short() -> None:
    assert promise_saved(a_day(comes("a", 30, promised=20)), "crew a") == ""


def test_what_would_save_a_promise_is_found_while_a_person_looks_on() -> None:
    # 20 units at 4 stations, and nothing saves it: all is tried.
    day = a_day(*(comes(f"u{n}", SPREAD, promised=1.0) for n in range(20)), stations=4)
    since = time.process_time()
    assert promise_saved(day, "crew u7") == ""
    assert time.process_time() - since < 0.5


def test_crews_that_would_only_wait_may_come_later() -> None:
    day = a_day(comes("a", 60), comes("b", 60), comes("c", 60))
    found = drop_offs(day, replications=4)
    assert {crew.title: crew.later for crew in found.crews} == {"crew b": 60.0, "crew c": 120.0}
    assert [crew.at_us for crew in found.crews if crew.title == "crew c"] == [at_us("10:00")]
    assert found.saved == pytest.approx(180, abs=0.1)
    assert found.p80_after == pytest.approx(found.p80_before, abs=0.1)
    later = replicate(found.change(day).model, replications=4)
    assert later.makespan.quantile(0.8) == pytest.approx(found.p80_before, abs=0.1)


def test_where_nobody_waits_nobody_comes_later() -> None:
    found = drop_offs(a_day(comes("a", 60), comes("b", 60), stations=2), replications=4)
    assert (found.crews, found.saved) == ((), 0.0)


def test_a_day_holds_as_many_units_as_arithmetic_says() -> None:
    day = a_day(comes("a", 60), comes("b", 60), stations=2, close=300.5)
    assert fits(day, 0.8, replications=4).units == 10
    assert fits(a_day(comes("a", 60), close=300.5), 0.8, replications=4).units == 5
    assert fits(a_day(comes("a", 60), close=30.0), 0.8, replications=4).units == 0
    assert fits(a_day(comes("a", 60), close=60 * 50.0), 0.8, replications=4).more


def test_a_higher_probability_holds_no_more_units() -> None:
    day = a_day(*(comes(f"u{n}", SPREAD) for n in range(5)), stations=2, close=240.0)
    counts = [fits(day, p, replications=100).units for p in (0.5, 0.8, 0.95)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[-1] > 0


def test_copies_of_a_mix_wait_for_its_first_and_draw_for_themselves() -> None:
    day = a_day(comes("a", SPREAD, opens="gate", promised=30), comes("b", SPREAD, waits_for="gate"))
    five = of_mix(day, 5).model
    assert [u.id for u in five.units] == ["a", "b", "a#2", "b#2", "a#3"]
    assert [u.stages[3].opens for u in five.units] == ["gate", None, None, None, None]
    assert [u.stages[1].waits_for for u in five.units] == [None, "gate", "gate", "gate", "gate"]
    assert all(u.promised is None for u in five.units)
    one = of_mix(day, 1).model
    assert [u.id for u in one.units] == ["a"]
    replicate(five, replications=5)


def test_a_day_without_closing_holds_any_number() -> None:
    with pytest.raises(ValueError, match="any number"):
        fits(a_day(comes("a", 60), close=None), 0.8)
