"""The day's loop: by hand, against published worst cases, and against a twin written with SimPy."""

from __future__ import annotations

from fractions import Fraction

import pytest

from benchday.domain.errors import InputError
from benchday.planning.engine import Day, DayCannotEnd, run
from benchday.planning.laws import Fixed
from benchday.planning.model import Model, ModelUnit
from tests.planning.days import hands, places, random_day, stage, unit, usual_stages
from tests.planning.simpy_twin import Twin


def list_schedule(machines: int, jobs: list[float]) -> Day:
    """Run jobs on equal machines in the order of the list."""
    units = tuple(ModelUnit(f"j{n}", 0, 0, (stage("work", "machine", "machine"),)) for n, _ in enumerate(jobs))
    return run(Model((places("machine", machines),), units), [[job] for job in jobs])


@pytest.mark.parametrize(("machines", "ratio"), [(2, (3, 2)), (3, (5, 3)), (4, (7, 4)), (6, (11, 6))])
def test_graham_1966_worst_cases(machines: int, ratio: tuple[int, int]) -> None:
    """Graham 1966, Bell Syst. Tech. J. 45(9): m(m-1) ones then one m give exactly 2 - 1/m times the optimum m."""
    jobs = [1.0] * (machines * (machines - 1)) + [float(machines)]

    makespan = list_schedule(machines, jobs).makespan

    assert Fraction(makespan) / machines == Fraction(*ratio) == 2 - Fraction(1, machines)


@pytest.mark.parametrize(
    ("machines", "jobs", "ratio"),
    [(2, [3, 3, 2, 2, 2], (7, 6)), (3, [5, 5, 4, 4, 3, 3, 3], (11, 9))],
)
def test_graham_1969_longest_first(machines: int, jobs: list[float], ratio: tuple[int, int]) -> None:
    """Graham 1969, SIAM J. Appl. Math. 17(2): longest first over optimum reaches 4/3 - 1/(3m)."""
    optimum = sum(jobs) / machines

    assert Fraction(list_schedule(machines, jobs).makespan) / Fraction(optimum) == Fraction(*ratio)


def test_mcnaughton_1959_in_list_order() -> None:
    """McNaughton 1959, Management Sci. 6(1): 17 21 9 14 30 8 12 on 3; list order 47, longest first 39."""
    jobs = [17.0, 21.0, 9.0, 14.0, 30.0, 8.0, 12.0]

    assert list_schedule(3, jobs).makespan == 47
    assert list_schedule(3, sorted(jobs, reverse=True)).makespan == 39


def test_two_usual_units_share_a_cable_and_a_pair_of_hands() -> None:
    """By hand: b connects after a, waits for the cable until a is verified, and holds its station meanwhile."""
    pools = (places("station", 2), places("cable", 1), hands("hands", 1))
    units = tuple(unit(name, *usual_stages(gates=(None, None))) for name in ("a", "b"))
    #        connect identify confirm write verify last look
    day = run(Model(pools, units), [[2, 1, 1, 15, 2, 3]] * 2)

    # a asks for hands at 3, which connect b until 4; b asks at 23, while a has its last look until 25.
    assert day.starts[0] == (0, 2, 4, 5, 20, 22)
    assert day.starts[1] == (2, 22, 25, 26, 41, 43)
    assert day.finish == (25, 46)
    assert day.makespan == 46


def test_the_first_asked_goes_first_and_then_the_first_listed() -> None:
    """Rule 2 in a whole day: c has priority, b asked before a."""
    pools = (places("station", 1),)
    work = stage("work", "station", "station")
    units = (
        unit("first", work),
        unit("a", work, arrival=3),
        unit("b", work, arrival=2),
        unit("c", work, arrival=4, priority=-1),
        unit("b too", work, arrival=2),
    )
    day = run(Model(pools, units), [[5], [1], [1], [1], [1]])

    assert day.finish == (5, 9, 7, 6, 8)


def test_what_is_freed_in_an_instant_is_granted_in_it() -> None:
    """Rule 3: the end of one stage and the start of the next of another unit are one instant; then hands."""
    pools = (places("station", 1), hands("hands", 1))
    work = stage("work", "station hands", "station hands")
    day = run(Model(pools, (unit("a", work), unit("b", work, arrival=5))), [[5], [5]])

    assert day.starts == ((0,), (5,))


def test_a_break_lets_running_work_end_and_starts_none() -> None:
    """Rule 3: attended work already running goes on; the next starts when the break ends, which is an instant."""
    pools = (hands("hands", 1, (4, 9)),)
    work = stage("work", "hands", "hands")
    day = run(Model(pools, tuple(unit(n, work) for n in "abc")), [[3], [3], [1]])

    assert day.starts == ((0,), (3,), (9,))


def test_closing_frees_what_the_unit_holds() -> None:
    """Rule 7: b's write would end after closing; it is not begun, and the station goes to c at once."""
    pools = (places("station", 1),)
    way = (stage("identify", "station"), stage("write", frees="station", guard=10))
    units = (unit("a", *way), unit("b", *way), unit("c", stage("look", "station", "station")))
    day = run(Model(pools, units, close=20), [[1, 9], [1, 9], [1]])

    assert day.finish == (10, None, 12)
    assert day.not_begun == ("b",)
    assert day.starts[1] == (10,)


def test_a_guard_that_just_fits_is_begun() -> None:
    """Rule 7: t + guard > close keeps out, t + guard = close does not."""
    units = (unit("a", stage("write", guard=10)), unit("b", stage("write", guard=10), arrival=0.5))
    day = run(Model((), units, close=10), [[3], [3]])

    assert day.finish == (3, None)


def test_a_gate_holds_the_second_until_the_first_is_verified() -> None:
    """Rule 8: waiting for a gate counts as not having asked: c, which asked meanwhile, goes first."""
    pools = (places("station", 1),)
    units = (
        unit("a", stage("write", opens="line"), stage("look", "station", "station")),
        unit("b", stage("write", "station", "station", waits_for="line")),
        unit("c", stage("read", "station", "station"), arrival=1),
        unit("d", stage("read", "station", "station"), arrival=2),
    )
    day = run(Model(pools, units), [[3, 1], [1], [4], [1]])

    assert day.starts == ((0, 6), (7,), (1,), (5,))


def test_a_gate_that_nobody_can_open_any_more_lets_its_units_go() -> None:
    """The first unit is not begun before closing, so the second is not begun either, and holds nothing."""
    pools = (places("station", 2),)
    first = unit("a", stage("wait"), stage("write", "station", "station", guard=9, opens="line"))
    second = unit("b", stage("read", "station"), stage("write", frees="station", waits_for="line"))
    third = unit("c", stage("read", "station station", "station station"), arrival=5.5)
    day = run(Model(pools, (first, second, third), close=10), [[5, 9], [1, 9], [1]])

    assert day.not_begun == ("a", "b")
    assert day.finish == (None, None, 6.5)


def test_a_day_that_cannot_end_says_who_waits_for_what() -> None:
    """Two units, each holding what the other wants."""
    pools = (places("station", 1), places("cable", 1))
    units = (
        unit("a", stage("one", "station"), stage("two", "cable", "cable station")),
        unit("b", stage("one", "cable"), stage("two", "station", "cable station")),
    )
    with pytest.raises(DayCannotEnd) as wrong:
        run(Model(pools, units), [[1, 1], [1, 1]])

    assert str(wrong.value) == (
        "this day cannot end: unit a waits for cable to begin two and holds station; "
        "unit b waits for station to begin two and holds cable"
    )


@pytest.mark.parametrize(
    ("durations", "text"),
    [
        ([], "durations are wanted for 1 units, found 0"),
        ([[1, 2]], "unit a: durations are wanted for 1 stages, found 2"),
        ([[0]], "unit a, stage work: a duration is above 0 minutes, found 0"),
        ([[float("nan")]], "unit a, stage work: a duration is above 0 minutes, found nan"),
        ([[float("inf")]], "unit a, stage work: a duration is above 0 minutes, found inf"),
    ],
)
def test_durations_of_another_day_are_refused(durations: list[list[float]], text: str) -> None:
    """The place is named."""
    with pytest.raises(InputError, match=text):
        run(Model((), (unit("a", stage("work")),)), durations)


def test_a_model_checks_itself() -> None:
    """Doubled names, pools that are not there, gates that nothing opens, what is freed and not held."""
    one = unit("a", stage("work"))
    with pytest.raises(ValueError, match="unit a is listed 2 times"):
        Model((), (one, one))
    with pytest.raises(ValueError, match="stage work of unit a names no pool: station"):
        Model((), (unit("a", stage("work", "station")),))
    with pytest.raises(ValueError, match="nothing opens gate line, which unit a waits for"):
        Model((), (unit("a", stage("work", waits_for="line")),))
    with pytest.raises(ValueError, match="stage work of unit a frees station, which the unit does not hold"):
        unit("a", stage("work", frees="station"))
    assert Fixed(2).mean == 2


def test_bit_equal_with_the_simpy_twin_on_days_full_of_ties() -> None:
    """3,000 small random days: every start and finish the same double, the same units not begun, the same stuck."""
    outcomes = {"over": 0, "not begun": 0, "stuck": 0}
    for seed in range(3_000):
        model, durations = random_day(seed)
        twin = Twin(model, durations).run()
        stuck = [u.id for u in model.units if u.id not in twin.finish and u.id not in twin.not_begun]
        if stuck:
            with pytest.raises(DayCannotEnd) as wrong:
                run(model, durations)
            assert [f"unit {name} waits for" in str(wrong.value) for name in stuck] == [True] * len(stuck), seed
            outcomes["stuck"] += 1
            continue

        day = run(model, durations)
        assert {u.id: f for u, f in zip(model.units, day.finish, strict=True) if f is not None} == twin.finish, seed
        assert set(day.not_begun) == twin.not_begun, seed
        assert [list(s) for s in day.starts] == [twin.starts[u.id] for u in model.units], seed
        outcomes["not begun" if day.not_begun else "over"] += 1

    # The days must be of all kinds, or the test proves little.
    assert min(outcomes.values()) > 20, outcomes
