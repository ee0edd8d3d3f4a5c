"""What a change would buy: figures worked out by hand, the same chances, sentences understood and refused."""

from __future__ import annotations

import json
import random

import pytest

from benchday.domain.bench import Costs
from benchday.domain.errors import InputError
from benchday.planning.durations import Pert
from benchday.planning.forecast import draws
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.prices import cost_of
from benchday.planning.forecast.spoken import SAYABLE, Hearing, heard
from benchday.planning.forecast.variants import (
    CloseLater,
    ComesAt,
    ComesLater,
    GoesFirst,
    MoreOf,
    OpenEarlier,
    Several,
    Variant,
    Without,
    open_ended,
    ordered,
    standard,
)
from benchday.planning.forecast.what_if import Gain, against, gains, mean_difference, quantile_difference
from benchday.planning.model import Model
from tests.planning.forecast.small_days import OPENS_US, a_day, at_us, comes

SPREAD = Pert(10, 20, 45)


def gain(compiled: Compiled, change: object, **more: object) -> Gain:
    """Return what one change would buy."""
    (found,) = gains(compiled, [Variant("it", change)], **({"replications": 40} | more))  # type: ignore[arg-type]
    return found


def of(model: Model, unit: str) -> float:
    """Return when a unit arrives."""
    return next(u.arrival for u in model.units if u.id == unit)


def test_a_second_station_halves_a_day_of_two() -> None:
    found = gain(a_day(comes("a", 30), comes("b", 30)), MoreOf("station", 1))
    assert found.p50.value == pytest.approx(30, abs=1e-3)
    assert found.p80.value == pytest.approx(30, abs=1e-3)
    assert found.p80.error == pytest.approx(0, abs=1e-9)
    assert not found.buys_nothing


def test_what_changes_nothing_gains_exactly_0_with_an_error_of_0() -> None:
    day = a_day(*(comes(f"u{n}", SPREAD, away=0.1) for n in range(6)), stations=2)
    for change in (MoreOf("station", 0), ComesLater(frozenset({"u1"}), 0.0), Several(()), OpenEarlier(0.0)):
        found = gain(day, change)
        assert [(d.value, d.error) for d in (found.p50, found.p80, found.late, found.begun)] == [(0.0, 0.0)] * 4
        assert all((d.value, d.error) == (0.0, 0.0) for d in found.crews.values())
        assert found.buys_nothing


def test_a_thing_that_nobody_waits_for_buys_nothing() -> None:
    found = gain(a_day(comes("a", SPREAD), comes("b", SPREAD)), MoreOf("cable:round", 1))
    assert (found.p80.value, found.p80.error, found.buys_nothing) == (0.0, 0.0, True)


def test_an_earlier_opening_is_earlier_by_the_clock() -> None:
    day = a_day(comes("a", 30), comes("b", 30, arrival=10), close=60.0)
    assert gain(day, OpenEarlier(20)).p50.value == pytest.approx(20, abs=1e-3)
    opened = OpenEarlier(20)(day)
    assert (opened.at_us, opened.model.close, of(opened.model, "a"), of(opened.model, "b")) == (
        OPENS_US - 20 * 60_000_000,
        80.0,
        0.0,
        30.0,
    )


def test_what_closing_leaves_out_is_told_as_units_begun_and_not_as_a_longer_day() -> None:
    day = a_day(*(comes(f"u{n}", 30, guard=30) for n in range(4)), close=61.0)
    found = gain(day, MoreOf("station", 1))
    # One station: 30, 60 and no more; two: all four by 60. To the end of all work: 120 against 60.
    assert found.begun.value == 2.0
    assert found.p80.value == pytest.approx(60, abs=1e-3)
    later = gain(day, CloseLater(30))
    assert (later.p80.value, later.begun.value, later.buys_nothing) == (0.0, 1.0, False)


def test_lateness_is_counted_by_the_last_unit_of_a_crew() -> None:
    day = a_day(comes("a", 30, promised=20), comes("b", 30, promised=20), crews={"crew Avocet": ("a", "b")}, stations=1)
    assert gain(day, MoreOf("station", 1)).late.value == pytest.approx(30, abs=1e-3)


def test_gains_are_listed_by_what_they_gain() -> None:
    day = a_day(comes("a", 30), comes("b", 30), comes("c", 30, arrival=20), stations=1)
    found = gains(day, standard(day, opened=False), replications=20)
    assert [g.p80.value for g in found] == sorted((g.p80.value for g in found), reverse=True)
    assert {g.name for g in found} == {
        "one more station",
        "one more cable of type round",
        "one more helper",
        "opening 30 min earlier",
        "crew c comes 30 min earlier",
        "without unit a (the longest)",
    }
    assert not any("opening" in v.name for v in standard(day, opened=True))


def test_a_unit_that_is_taken_out_leaves_the_draws_of_the_others_as_they_are() -> None:
    day = a_day(*(comes(f"u{n}", SPREAD, away=0.2) for n in range(5)))
    fewer = Without(frozenset({"u2"}))(day)

    def drawn(model: Model) -> dict[str, list[tuple[float, ...]]]:
        rows = list(draws.days(draws.plan(model), 1, 30))
        first = {unit.id: sum(len(u.stages) for u in model.units[:n]) for n, unit in enumerate(model.units)}
        return {u.id: [tuple(row[first[u.id] : first[u.id] + len(u.stages)]) for row in rows] for u in model.units}

    before, after = drawn(day.model), drawn(fewer.model)
    assert after == {unit: rows for unit, rows in before.items() if unit != "u2"}
    # Who does not come stays away for longer when closing is out of the way, on the same days.
    far = drawn(open_ended(day).model)
    for unit, rows in before.items():
        assert [r[0] > 1000 for r in rows] == [r[0] > 1000 for r in far[unit]]
        assert [r[1:] for r in rows] == [r[1:] for r in far[unit]]


def test_who_comes_first_of_its_kind_then_is_the_one_that_others_wait_for() -> None:
    day = a_day(
        comes("a", 10, opens="gate"), comes("b", 10, waits_for="gate", away=0.2), comes("c", 10, waits_for="gate")
    )

    def gate(compiled: Compiled) -> dict[str, tuple[str | None, str | None]]:
        return {u.id: (u.stages[3].opens, u.stages[1].waits_for) for u in compiled.model.units}

    later = ComesAt(frozenset({"a"}), at_us("10:00"))(day)
    assert gate(later) == {"a": (None, "gate"), "b": ("gate", None), "c": (None, "gate")}
    assert gate(Without(frozenset({"a"}))(day)) == {"b": ("gate", None), "c": (None, "gate")}
    assert gate(ComesLater(frozenset({"b"}), 30)(day)) == gate(day)
    assert gain(day, Without(frozenset({"a"}))).p50.value == pytest.approx(10, abs=1e-3)


def test_a_crew_that_goes_first_stands_behind_who_holds_a_place() -> None:
    day = ordered(a_day(comes("a", 10), comes("b", 10)), ["a", "b"])
    priorities = {u.id: u.priority for u in GoesFirst(frozenset({"b"}))(day).model.units}
    assert -1 < priorities["b"] < priorities["a"]


def test_two_plans_are_compared_crew_by_crew() -> None:
    units = (comes("a", 30), comes("b", 30))
    found = against(a_day(*units), a_day(*units, stations=2), name="other", replications=20)
    assert found.p80.value == pytest.approx(30, abs=1e-3)
    assert {crew: round(d.value) for crew, d in found.crews.items()} == {"crew a": 0, "crew b": 30}


def test_a_difference_of_quantiles_and_its_error() -> None:
    base = [float(n) for n in range(40)]
    found = quantile_difference(base, [b - 3 for b in base], 0.8)
    assert found.value == pytest.approx(3)
    assert found.error == pytest.approx(0, abs=1e-9)
    assert mean_difference([1.0, 3.0], [0.0, 0.0]).value == 2.0
    assert mean_difference([1.0, 3.0], [0.0, 0.0]).error == pytest.approx(1.0)


def test_the_error_by_sectioning_is_that_of_many_repetitions() -> None:
    source = random.Random(5)
    found = []
    for _ in range(200):
        base = [source.gauss(100, 10) for _ in range(400)]
        found.append(quantile_difference(base, [b - abs(source.gauss(4, 2)) for b in base], 0.8))
    mean = sum(f.value for f in found) / 200
    spread = (sum((f.value - mean) ** 2 for f in found) / 199) ** 0.5
    told = sum(f.error for f in found) / 200
    assert 0.7 * spread < told < 1.5 * spread


COSTS = Costs.model_validate_json(
    json.dumps({"helper_hour": 40, "late_hour": 90, "cable": {"round": 120.5}, "currency": "EUR"})
)


@pytest.mark.parametrize(
    ("change", "cost"),
    [
        (MoreOf("cable:round", 2), 241.0),
        (MoreOf("technician", 1), 40 * 9.0),
        (MoreOf("station", 1), None),
        (OpenEarlier(30), 40 * 0.5),
        (CloseLater(60), 40.0),
        (ComesLater(frozenset({"a"}), 30), 0.0),
        (Several((MoreOf("cable:round", 1), OpenEarlier(30))), 140.5),
        (Several((MoreOf("cable:round", 1), MoreOf("station", 1))), None),
        (Without(frozenset({"a"})), None),
    ],
)
def test_what_a_change_costs(change: object, cost: float | None) -> None:
    assert cost_of(change, a_day(comes("a", 30)), COSTS) == cost  # type: ignore[arg-type]


def test_with_costs_minutes_are_told_for_the_money() -> None:
    day = a_day(comes("a", 30, promised=10), comes("b", 30, promised=10), cables=1, stations=2)
    found = gain(day, MoreOf("cable:round", 1), costs=COSTS)
    assert found.cost == 120.5
    assert found.minutes_per_money == pytest.approx(30 / 120.5, abs=1e-3)
    assert found.late_saved == pytest.approx(30 / 60 * 90, abs=1e-2)


def hearing(*, opened: bool = False) -> Hearing:
    """Return a day to speak of."""
    day = a_day(comes("MR-0417", 30), comes("MR-0418", 30, arrival=60), crews={"crew Avocet": ("MR-0417", "MR-0418")})
    return Hearing(day, at_us, opened=opened)


AVOCET = frozenset({"MR-0417", "MR-0418"})


@pytest.mark.parametrize(
    ("text", "change"),
    [
        ("one more cable of type round", MoreOf("cable:round", 1)),
        ("2 more cables of type Round", MoreOf("cable:round", 2)),
        ("one cable of type round less", MoreOf("cable:round", -1)),
        ("two more stations", MoreOf("station", 2)),
        ("one more technician", MoreOf("technician", 1)),
        ("One helper  more", MoreOf("technician", 1)),
        ("one more operator", MoreOf("technician", 1)),
        ("open at 07:30", OpenEarlier(30.0)),
        ("open at 8:15", OpenEarlier(-15.0)),
        ("close at 18:00", CloseLater(60.0)),
        ("without unit mr-0417", Without(frozenset({"MR-0417"}))),
        ("crew Avocet comes at 09:30", ComesAt(AVOCET, at_us("09:30"))),
        (
            "one more cable of type round and one more station",
            Several((MoreOf("cable:round", 1), MoreOf("station", 1))),
        ),
        (
            "one more station and crew Avocet comes at 09:30",
            Several((MoreOf("station", 1), ComesAt(AVOCET, at_us("09:30")))),
        ),
        ("one more station and open at 07:30", Several((MoreOf("station", 1), OpenEarlier(30.0)))),
        (
            "open at 07:30, and crew avocet comes at 09:30 and close at 16:00",
            Several((OpenEarlier(30.0), ComesAt(AVOCET, at_us("09:30")), CloseLater(-60.0))),
        ),
    ],
)
def test_sentences_that_can_be_said(text: str, change: object) -> None:
    assert heard(text, hearing()).change == change


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("one mor station", "did you mean two more stations?"),
        ("buy a dog", "What can be said"),
        ("", "What can be said"),
        ("one more station and a dog", "What can be said"),
        ("one more cable of type rund", "did you mean round?"),
        ("one more charger", "no unit of this forecast can use one"),
        ("one station less", "at least one must be left"),
        ("two cables of type round less and three cables of type round less", "cannot hold"),
        ("open at 25:00", "expected a time of day"),
        ("open at 17:30", "before closing"),
        ("close at 07:00", "after the day opens"),
        ("without unit MR-0419", "did you mean MR-041"),
        ("crew Avocets comes at 09:00", "did you mean crew Avocet?"),
        ("crew Avocet comes at 07:00", "between opening, or now, and closing"),
    ],
)
def test_sentences_that_cannot_be_said(text: str, told: str) -> None:
    day = hearing()
    with pytest.raises(InputError) as error:
        heard(text, Hearing(MoreOf("cable:round", -1)(day.compiled), at_us) if "three" in text else day)
    assert told in str(error.value)


def test_a_day_that_has_opened_is_not_opened_earlier() -> None:
    with pytest.raises(InputError, match="opened already"):
        heard("open at 07:30", hearing(opened=True))


def test_the_nearest_is_a_sentence_of_the_day_in_hand() -> None:
    with pytest.raises(InputError, match=r"did you mean crew Avocet comes at 09:30\?"):
        heard("crew Avocet come at 9:30", hearing())


def test_everything_that_is_listed_as_sayable_can_be_said() -> None:
    day = hearing()
    with_charger = MoreOf("station", 1)(day.compiled)
    for sentence in SAYABLE:
        said = sentence.replace("TYPE", "round").replace("SERIAL", "MR-0417").replace("NAME", "Avocet")
        if "charger" not in said and "adapter" not in said:
            assert heard(said, Hearing(with_charger, at_us)).name == said
