"""Three loops, one day: the one to be read, the fast plain one and the compiled one give the same doubles and words."""

from __future__ import annotations

import random
import time
from collections import Counter
from collections.abc import Callable

import pytest

from benchday.domain.errors import InputError
from benchday.planning.engine import Day, DayCannotEnd, run
from benchday.planning.forecast import engines, loop
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.prepared import Prepared, prepare
from benchday.planning.laws import Fixed
from benchday.planning.model import Durations, Model, ModelUnit
from tests.planning.days import hands, places, random_day, stage, unit
from tests.planning.forecast.usual import usual_day
from tests.planning.forecast.wild import wild_day


def read(model: Model, durations: Durations) -> Day | str:
    """Return the day by the loop to be read, or what kept it from ending."""
    try:
        return run(model, durations)
    except DayCannotEnd as wrong:
        return str(wrong)


def fast(prepared: Prepared, durations: Durations) -> Day | str:
    """Return the day by the fast plain loop, or what kept it from ending."""
    try:
        return loop.replay(prepared, durations)
    except DayCannotEnd as wrong:
        return str(wrong)


def kind(day: Day | str) -> str:
    """Name what a day is a case of."""
    if isinstance(day, str):
        return "stuck"
    return "not begun" if day.not_begun else "over"


@pytest.mark.parametrize("make", [random_day, wild_day])
def test_the_plain_loop_is_bit_equal_with_the_one_to_be_read(make: Callable[[int], tuple[Model, Durations]]) -> None:
    """3,000 days full of ties: each start, end and finish the same double, the same left out, the same words."""
    kinds: Counter[str] = Counter()
    for seed in range(3_000):
        model, durations = make(seed)
        expected = read(model, durations)
        found = fast(prepare(model), durations)
        assert found == expected, seed
        kinds[kind(expected)] += 1

    # The days must be of all kinds, or the test proves little.
    assert min(kinds["over"], kinds["not begun"], kinds["stuck"]) > 100, kinds


def replayed(model: Model, durations: list[Durations], engine: str) -> tuple[object, ...] | str:
    """Return everything that an engine keeps of some days, as what can be compared."""
    try:
        outcomes = engines.replay(model, durations, engine=engine)
    except DayCannotEnd as wrong:
        return str(wrong)
    return everything(outcomes)


def everything(outcomes: Outcomes) -> tuple[object, ...]:
    """Return all that is kept; NaN compares as its bytes."""
    return outcomes.finishes.tobytes(), outcomes.makespans.tobytes(), outcomes.pools, outcomes.first_day


@pytest.mark.parametrize("make", [random_day, wild_day])
def test_the_compiled_loop_is_bit_equal_with_the_plain_one(make: Callable[[int], tuple[Model, Durations]]) -> None:
    """1,000 days three times each with other durations: finishes, makespans, use of the pools, and the same words."""
    for seed in range(1_000):
        model, durations = make(seed)
        source = random.Random(seed)
        days = [durations, *([[source.choice([1.0, 2.0, 0.3]) for _ in row] for row in durations] for _ in range(2))]
        assert replayed(model, days, "compiled") == replayed(model, days, "loop"), seed


@pytest.mark.parametrize("units", [1, 7, 100])
@pytest.mark.parametrize("close", [None, 200.0])
def test_equal_seeds_give_equal_forecasts_whichever_loop_runs(units: int, close: float | None) -> None:
    """Draws too: the same words, tables and order of additions; 300 days, so that two blocks are drawn."""
    model = usual_day(units, close=close)
    plain = engines.replicate(model, replications=300, seed=5, engine="loop")

    assert everything(engines.replicate(model, replications=300, seed=5, engine="compiled")) == everything(plain)
    assert (plain.not_begun() != [[]] * 300) == (close is not None and units == 100)


@pytest.mark.parametrize("engine", ["loop", "compiled"])
@pytest.mark.parametrize("scale", [1e-300, 1e-13, 1e9])
def test_durations_that_are_lost_in_large_times(engine: str, scale: float) -> None:
    """t + d may be t: then stages are not joined, and each loop still does as the one to be read."""
    for seed in range(60):
        model, durations = wild_day(seed)
        small = [[d * scale if (n + seed) % 3 else d for n, d in enumerate(row)] for row in durations]
        far = Model(
            model.pools, tuple(ModelUnit(u.id, u.arrival + 1e5, u.priority, u.stages) for u in model.units), model.close
        )
        expected = read(far, small)
        if isinstance(expected, str):
            assert replayed(far, [small], engine) == expected
            continue
        outcomes = engines.replay(far, [small], engine=engine)
        assert outcomes.first_day == expected
        assert [None if e != e else e for e in outcomes.finishes] == list(expected.finish)  # noqa: PLR0124 - NaN


def test_a_variant_is_the_changed_model() -> None:
    """Other priorities, arrivals and counts without preparing anew."""
    for seed in range(200):
        model, durations = random_day(seed)
        source = random.Random(seed)
        prepared = prepare(model).variant(
            priorities=[source.choice([0.0, 1.0]) for _ in model.units],
            arrivals=[source.choice([0.0, 2.0]) for _ in model.units],
            counts=[pool.count + source.choice([0, 1]) for pool in model.pools],
        )
        expected = read(prepared.model, durations)
        assert fast(prepared, durations) == expected
        if isinstance(expected, Day):
            assert engines.replay(prepared, [durations], engine="compiled").first_day == expected


def test_a_variant_of_another_size_is_refused() -> None:
    """The message says how many are wanted."""
    with pytest.raises(ValueError, match="a variant needs 3 priorities and arrivals and 6 counts"):
        prepare(usual_day(3)).variant(priorities=[1.0])


def test_ten_thousand_units_do_not_hang() -> None:
    """Both loops, a queue of ten thousand at one station, a guard that sends most away; well within the minute."""
    way = (stage("in", "station", ""), stage("write", "", "station", guard=10))
    units = tuple(unit(f"u{n}", *way, priority=float(-n)) for n in range(10_000))
    model = Model((places("station", 2),), units, close=100.0)
    began = time.monotonic()
    for engine in ("loop", "compiled"):
        outcomes = engines.replay(model, [[[1.0, 1.0]] * 10_000], engine=engine)
        assert len(outcomes.not_begun()[0]) > 9_000

    assert time.monotonic() - began < 60


def test_ten_thousand_that_wait_for_ever_are_told() -> None:
    """A hold that is never given back: everybody else is named, at once."""
    units = tuple(unit(f"u{n}", stage("in", "station", "")) for n in range(10_000))
    with pytest.raises(DayCannotEnd) as wrong:
        engines.replay(Model((places("station", 1),), units), [[[1.0]] * 10_000])
    assert str(wrong.value).count("waits for station to begin in") == 9_999


@pytest.mark.parametrize("engine", ["loop", "compiled"])
def test_given_durations_are_checked(engine: str) -> None:
    """Nothing below or at 0, no NaN, no infinity, another shape: refused with the place."""
    model = Model((), (unit("a", stage("work")),))
    for bad in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(InputError, match="unit a, stage work: a duration is above 0 minutes"):
            engines.replay(model, [[[1.0]], [[bad]]], engine=engine)
    with pytest.raises(InputError, match="durations are wanted for 1 units"):
        engines.replay(model, [[]], engine=engine)


@pytest.mark.parametrize("engine", ["loop", "compiled"])
def test_a_day_of_nobody(engine: str) -> None:
    """No units, or no replications: nothing happens and nothing breaks."""
    nobody = engines.replicate(Model((hands("x", 1, (2, 3)),), ()), replications=3, engine=engine)
    assert list(nobody.makespans) == [0.0, 0.0, 0.0]

    none = engines.replicate(usual_day(3), replications=0, engine=engine)
    assert (none.replications, none.makespan.mean) == (0, None)


def test_stages_are_joined_where_nobody_can_come_between() -> None:
    """The usual unit of nine or ten stages is six stretches and its arrival, which takes in a late one."""
    model = Model(
        (places("station", 1), places("cable", 1), hands("hands", 1)),
        (
            unit(
                "a",
                stage("late"),
                stage("connect", "station hands", "hands"),
                stage("identify", "cable"),
                stage("check"),
                stage("preserve"),
                stage("confirm", "hands", "hands"),
                stage("write", guard=3),
                stage("restart"),
                stage("verify", "", "cable"),
                stage("last look", "hands", "hands station"),
            ),
        ),
    )
    table = prepare(model).table
    assert [(f, p) for f, p in zip(table.firsts, table.pasts, strict=True)] == [
        (0, 1),
        (1, 2),
        (2, 5),
        (5, 6),
        (6, 9),
        (9, 10),
    ]
    assert model.units[0].stages[0].law == Fixed(1)
