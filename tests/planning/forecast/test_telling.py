"""What is told of many days: times, chances, who is kept out; models as files; habits of earlier days."""

from __future__ import annotations

import math
import random
from array import array

import pytest

from benchday.planning.durations import Pert, quantile
from benchday.planning.forecast.emitting import fitted, law_facts, model_text
from benchday.planning.forecast.habits import NOT_COMING, USUALLY_LATE, Chance, Habits
from benchday.planning.forecast.modelling import Compiled, LeftOut, model_before
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.pools import PoolUse
from benchday.planning.forecast.telling import Told, pool_words, told
from benchday.planning.laws import (
    Fixed,
    Law,
    LogNormal,
    Remaining,
    Retried,
    Scaled,
    Student,
    Triangular,
    Uniform,
)
from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.model_file import read_model
from tests.planning.forecast.test_modelling import known, two_millraces

MINUTE_US = 60_000_000
NEVER = math.nan


def units(*names: str, promised: float | None = None) -> tuple[ModelUnit, ...]:
    """Write units whose write has a guard."""
    return tuple(ModelUnit(n, 0, 0, (Stage("write", (), (), Fixed(5), guard=20.0),), promised) for n in names)


def of_days(
    *days: tuple[float, ...],
    promised: float | None = None,
    away: frozenset[int] = frozenset(),
    pools: tuple[PoolUse, ...] = (),
    **more: object,
) -> Told:
    """Tell of these finishes, day by day, of the units a, b, c of one crew."""
    names = "abc"[: len(days[0])]
    model = Model((), units(*names, promised=promised), close=100.0)
    ends = array("d", [end for day in days for end in day])
    spans = array("d", [max((e for e in day if not math.isnan(e)), default=0.0) for day in days])
    compiled = Compiled(
        model, 0, {"crew A": tuple(names)},
        promised_us={n: round(promised * MINUTE_US) for n in names} if promised else {}, **more,  # type: ignore[arg-type]
    )  # fmt: skip
    return told(compiled, Outcomes(model, "loop", ends, spans, pools), [50 * MINUTE_US], {"b": away})


def test_times_and_chances_are_those_of_the_days() -> None:
    found = of_days((10, 20), (12, 60), (14, 40), (16, 30), promised=45)
    assert found.end.p50_us == 35 * MINUTE_US
    assert [(b.share, b.closing) for b in found.by] == [(0.75, False), (1.0, True)]
    (crew,) = found.crews
    assert (crew.ready.p50_us, crew.kept, crew.promised_us) == (35 * MINUTE_US, 0.75, 45 * MINUTE_US)
    assert [u.kept for u in found.units] == [1.0, 0.75]
    assert found.cannot == ()
    assert not found.stops


def test_a_crew_keeps_its_promise_only_with_all_its_units() -> None:
    found = of_days((50, 20), (20, 50), (20, 20), (20, 20), promised=45)
    assert found.crews[0].kept == 0.5


def test_one_that_stays_away_spoils_nobodys_figures() -> None:
    days = [(10.0, NEVER if n % 50 == 0 else 20.0) for n in range(1000)]
    found = of_days(*days, promised=45, away=frozenset(range(0, 1000, 50)))
    assert found.crews[0].ready.p95_us == 20 * MINUTE_US
    assert found.crews[0].kept == found.by[-1].share == 1.0
    assert found.units[1].not_begun == 0.0
    assert found.cannot == ()


def test_one_that_closing_keeps_out_is_told_with_its_share() -> None:
    days = [(10.0, NEVER if n % 4 == 0 else 20.0) for n in range(400)]
    found = of_days(*days, promised=45, away=frozenset(range(0, 400, 8)))
    (out,) = found.cannot
    assert (out.serial, out.stops) == ("b", False)
    assert out.share == found.units[1].not_begun == 50 / 350
    assert "its write would begin less than 20 min before closing" in out.reason
    assert found.crews[0].ready.p95_us is None
    assert found.by[-1].share == found.crews[0].kept == 350 / 400


def test_one_that_cannot_be_begun_on_most_days_stops() -> None:
    assert of_days(*[(10.0, NEVER)] * 40).stops
    assert of_days((10.0,), left_out=(LeftOut("x", "it is held"),)).stops
    assert not of_days((10.0,), left_out=(LeftOut("x", "it is absent", stops=False),)).stops


def test_units_that_are_ready_already_count_for_their_crew() -> None:
    found = of_days((10.0,), ready_us={"crew A": (30 * MINUTE_US,)})
    assert found.crews[0].ready.p50_us == 30 * MINUTE_US


def test_what_is_waited_for_most_is_the_bottleneck() -> None:
    pools = (
        PoolUse("station", 3, 10.0, (3.0, 3.0, 2.9, 0.5), 10, 40),
        PoolUse("cable:round", 2, 10.0, (2.0, 2.0, 0.1), 10, 90),
        PoolUse("technician", 2, 10.0, (0.1,), 100, 80),
    )
    found = of_days((10.0,), pools=pools).bottleneck
    assert found is not None
    assert (found.pool, found.wait, found.full_us) == ("cable:round", 9.0, ((0, 20 * MINUTE_US),))
    assert of_days((10.0,), pools=pools[2:]).bottleneck is None
    assert pool_words("cable:round", 2) == "2 cables with connector round"
    assert pool_words("technician", 1) == "1 operator"


LAWS: tuple[Law, ...] = (
    Fixed(3.0),
    Uniform(1.0, 2.0),
    Triangular(1.0, 2.0, 4.0),
    Pert(1.0, 2.0, 4.0),
    LogNormal(3.0, 0.2),
    Scaled(1.0, 2.0, 3.0, 0.1),
    Student(1.0, 0.2, 5.0, 40.0),
    Retried(Fixed(2.0), 1.0, Retried(Student(1.0, 0.2, 5.0, 40.0), 0.1, Pert(1.0, 2.0, 3.0))),
)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_a_law_comes_back_from_its_file(law: Law) -> None:
    stages = (Stage("one", (), (), law), Stage("two", (), (), Fixed(1.0), 3.0, "gate"), Stage("three", (), (), law))
    waiting = ModelUnit("v", 2.5, -1.0, (Stage("all", (), (), law, waits_for="gate"),), 30.0)
    model = Model((), (ModelUnit("u", 0.0, 0.0, stages), waiting), 99.5, 10, 3, (0.5, 0.9))
    assert read_model(model_text(model)) == model


def test_a_whole_day_comes_back_from_its_file() -> None:
    plan = two_millraces(breaks=[{"from": "12:00", "to": "12:30"}])
    model = model_before(plan, known(plan)).model
    assert read_model(model_text(model)) == model


def test_what_is_left_of_a_step_is_fitted() -> None:
    law = Remaining(Pert(10, 16, 30), 14.0)
    close = fitted(law)
    drawn = [law.draw(random.Random(n)) for n in range(3000)]
    assert close.median == pytest.approx(quantile(drawn, 0.5), rel=0.1)
    assert law_facts(law)["dist"] == "lognormal"
    assert law_facts(Remaining(Fixed(5.0), 2.0)) == {"dist": "fixed", "value": 3.0}


def test_what_is_left_is_the_law_beyond_what_has_passed() -> None:
    source = random.Random(2)
    whole = [d for d in (Pert(10, 16, 30).draw(source) for _ in range(30_000)) if d > 17]
    left = [Remaining(Pert(10, 16, 30), 17.0).draw(source) for _ in range(6_000)]
    for share in (0.2, 0.5, 0.8):
        assert quantile(left, share) + 17 == pytest.approx(quantile(whole, share), abs=0.25)
    overdue = Remaining(Fixed(5.0), 40.0)
    assert overdue.draw(source) == overdue.mean == 2.0
    assert Remaining(Fixed(5.0), 6.0).draw(source) == 0.5


def test_few_days_are_widened_and_none_are_supposed() -> None:
    crew = ("Saltmere Levels", "Avocet")
    assert Habits().lateness(*crew) == USUALLY_LATE
    assert Habits({crew: (2.0, 8.0, 12.0)}).lateness(*crew) == Pert(2.0, 8.0, 18.0)
    assert Habits({crew: tuple(map(float, range(11)))}).lateness(*crew) == Pert(0.0, 5.0, 10.0)
    assert Habits({crew: (0.0, 0.0, 0.0)}).lateness(*crew) == Pert(0.0, 0.0, 0.0)
    assert NOT_COMING.mean == Habits().not_coming("anybody") == 0.02
    # Beta(1 + 3, 49 + 47): Gelman et al., 2.4.
    assert Chance(1, 50, 3, 50).mean == 0.04
