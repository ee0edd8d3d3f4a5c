"""Enough charge to survive the write."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from benchday.domain.bench import Pack
from benchday.domain.checks import Answer, Finding
from benchday.domain.readings import PowerReading
from benchday.planning.durations import RestOfWay
from benchday.planning.power import ERROR, Balance, Measured, derating, power, with_pack
from benchday.planning.remedies import RemedyKind, remedies
from tests.planning.shop import playbook

SECOND = 1_000_000
REST = RestOfWay(1_500 * SECOND, 1_500 * SECOND, None, ("write",))
WARM_DK = 2982


def reading(charge: int, **changed: Any) -> PowerReading:
    facts: dict[str, Any] = {
        "max_error_percent": 2,
        "full_mwh": 24_000,
        "temperature_dk": WARM_DK,
        "external": False,
    }
    return PowerReading(charge_percent=charge, **(facts | changed))


# Worked examples of the project's own energy balance (no outside source), computed as exact fractions. Charge, error
# and capacity are the Smart Battery Data Specification's 0x0D RelativeStateOfCharge, 0x0C MaxError (both %) and 0x10
# FullChargeCapacity; the temperature behind the derating is its 0x08, in tenths of a kelvin (revisions 1.0 and 1.1).
WORKED = [
    (Balance(60, 5, 24_000, Fraction(9, 10), 5_000, 360 * SECOND), 1_250, 7_080, True),
    (Balance(35, 10, 16_800, Fraction(9, 10), 4_000, 126_100_000), 351, 420, False),
    (Balance(35, 10, 16_800, Fraction(1, 2), 4_000, 1_200 * SECOND), 3_334, -1_260, False),
    (
        Balance(50, 5, 20_000, Fraction(1), 6_000, 1_800 * SECOND, reserve_percent=30, margin_percent=0, tries=1),
        3_000,
        3_000,
        True,
    ),
]


@pytest.mark.parametrize(("balance", "need", "have", "go"), WORKED)
def test_worked_examples(balance: Balance, need: int, have: int, go: bool) -> None:
    """Need is rounded up and have down to whole milliwatt-hours; equal is enough."""
    assert (balance.need_mwh, balance.have_mwh, balance.go) == (need, have, go)


def test_a_write_of_26_minutes_with_one_retry_needs_5417_mwh() -> None:
    """5 W, a quarter on top, 26 minutes, twice: 6.25 W for 52 minutes, 5,416.7 mWh, rounded up (our own example)."""
    assert Balance(60, 5, 24_000, Fraction(9, 10), 5_000, 26 * 60 * SECOND).need_mwh == 5_417


@pytest.mark.parametrize(("charge", "have", "go"), [(50, 4_920, False), (55, 6_000, True)])
def test_five_percent_more_charge_decide_it(charge: int, have: int, go: bool) -> None:
    """24 Wh at 0.9 in the cold, 5 % for the gauge, 20 % left over, for the 5,417 mWh above (our own example)."""
    balance = Balance(charge, 5, 24_000, Fraction(9, 10), 5_000, 26 * 60 * SECOND)

    assert (balance.have_mwh, balance.go) == (have, go)


def test_the_second_example_fails_by_the_floor_alone() -> None:
    """Energy would do, but 25 % is under the floor of 30 %."""
    balance = WORKED[1][0]

    assert balance.have_mwh >= balance.need_mwh
    assert balance.sure_percent == 25


@pytest.mark.parametrize(
    ("celsius", "part"), [(27, Fraction(1)), (40, Fraction(1)), (0, Fraction(7, 10)), (-18, Fraction(1, 2))]
)
def test_cold_derating(celsius: int, part: Fraction) -> None:
    """Battery University BU-502: all at 27 C, about half at -18 C; the straight line between is ours."""
    dk = 2731.5 + 10 * celsius

    assert derating(int(dk)) <= part <= derating(int(dk) + 1)


def test_enough_charge_shows_every_figure() -> None:
    """The technician sees what the answer rests on."""
    finding = power(reading(80), playbook(), REST)

    assert finding.answer is Answer.CLEAR
    assert finding.text == (
        "enough charge: 12,810 mWh may be used of 80 % charge and 5,209 mWh are needed, 25 min 2 times over "
        "(by the playbook's durations, because fewer than ten records exist of write)"
    )
    assert dict(finding.figures) == {
        "charge_percent": 80,
        "error_percent": 5,
        "full_mwh": 24_000,
        "temperature_dk": WARM_DK,
        "derating_permille": 978,
        "draw_mw": 5_000,
        "margin_percent": 25,
        "reserve_percent": 20,
        "floor_percent": 30,
        "time_us": 1_500 * SECOND,
        "tries": 2,
        "have_mwh": 12_810,  # 75 % of 24,000 at 0.97833, less a reserve of 4,800
        "need_mwh": 5_209,  # 6,250 mW for 3,000 s
        "needed_percent": 48,  # (5,209 + 4,800) of 23,480 is 42.6 %, and 5 % for the gauge
        "full_known_as": "measured",
        "time_basis": REST.basis,
    }


def test_too_little_charge_says_how_much_is_needed() -> None:
    """The charge named is the least that would do."""
    finding = power(reading(40), playbook(), REST)
    needed = finding.figures["needed_percent"]

    assert finding.answer is Answer.STOP
    assert f"charge to {needed} %" in finding.text
    assert isinstance(needed, int)
    assert power(reading(needed), playbook(), REST).answer is Answer.CLEAR
    assert power(reading(needed - 1), playbook(), REST).answer is Answer.STOP


def test_the_floor_is_named_where_it_decides() -> None:
    """Energy would do for a short write."""
    short = RestOfWay(60 * SECOND, 60 * SECOND, None, ())

    assert power(reading(34), playbook(), short).text == (
        "too little charge: 34 % less 5 % for the gauge is 29 %, and a write begins at 30 % at least; charge to 35 %"
    )


def test_the_gauge_s_own_error_counts_where_it_is_larger() -> None:
    """e = max(MaxError, 5)."""
    assert power(reading(80, max_error_percent=100), playbook(), REST).figures["error_percent"] == 100
    assert power(reading(80, max_error_percent=100), playbook(), REST).answer is Answer.STOP
    assert power(reading(80, max_error_percent=0), playbook(), REST).figures["error_percent"] == 5


def test_external_power_is_enough_where_the_unit_can_run_from_it() -> None:
    """Confirmed external power needs no balance; a unit that cannot run from it while written needs one."""
    empty = reading(3, external=True)

    assert power(empty, playbook(), REST).answer is Answer.CLEAR
    assert power(empty, playbook(external=False), REST).answer is Answer.STOP


@pytest.mark.parametrize(
    ("told", "draw", "bridges", "text"),
    [
        (reading(90, external=True), 5_000, "yes", "and its battery would bridge an unplugging"),
        (reading(3, external=True), 5_000, "no", "but its battery could not bridge an unplugging: see that nobody"),
        (reading(90, external=True, temperature_dk=2500), 5_000, "no", "but its battery could not bridge"),
        (reading(90, external=True), None, "no", "but whether its battery could bridge an unplugging is not known"),
        (reading(90, external=True, max_error_percent=None), 5_000, "no", "is not known (how far the charge may be"),
    ],
)
def test_on_external_power_it_is_told_whether_the_battery_would_bridge_an_unplugging(
    told: PowerReading, draw: int | None, bridges: str, text: str
) -> None:
    """It stops nobody, and whoever confirms reads it."""
    finding = power(told, playbook(draw_mw=draw), REST)

    assert (finding.answer, finding.figures["bridges"], finding.clears) == (Answer.CLEAR, bridges, "")
    assert text in finding.text
    assert finding.figures["time_us"] == REST.p99_us


@pytest.mark.parametrize(
    ("told", "draw", "missing"),
    [
        (None, 5_000, "not known: charge, how far the charge may be off and battery temperature; "),
        (reading(90, max_error_percent=None), 5_000, "not known: how far the charge may be off; "),
        (reading(90, temperature_dk=None), 5_000, "not known: battery temperature; "),
        (reading(90), None, "not known: draw of Millrace while written (playbook millrace); "),
    ],
)
def test_what_is_not_known_is_never_a_go(told: PowerReading | None, draw: int | None, missing: str) -> None:
    """With the reason and the ways out."""
    finding = power(told, playbook(draw_mw=draw), REST)
    ways = "connect external power, fit a shop pack of known charge or measure what is missing"
    if draw is None:
        ways = "connect external power or measure the draw and put it into the playbook"

    assert finding.answer is Answer.ASK
    assert finding.text == f"{missing}without it nothing is written on battery: {ways}"
    assert finding.clears.startswith("it has external power")


def test_what_is_known_is_shown_beside_what_is_not() -> None:
    """Every factor that there is."""
    figures = power(reading(90, max_error_percent=None), playbook(), REST).figures

    assert figures["unknown"] == "how far the charge may be off"
    assert {n: figures[n] for n in ("charge_percent", "full_mwh", "temperature_dk", "draw_mw", "time_us", "tries")} == {
        "charge_percent": 90,
        "full_mwh": 24_000,
        "temperature_dk": WARM_DK,
        "draw_mw": 5_000,
        "time_us": REST.p99_us,
        "tries": 2,
    }


def test_what_is_not_known_is_remedied_by_external_power_a_known_pack_or_measuring() -> None:
    """In this order; charging would not tell anybody more."""
    finding = power(reading(90, max_error_percent=None), playbook(), REST)
    found = found_remedies(finding, pack("P1", 45), pack("P2", 90))

    assert [r.kind for r in found] == [RemedyKind.EXTERNAL, RemedyKind.PACK, RemedyKind.MEASURE]
    assert (found[1].pack, found[2].missing) == ("P2", (ERROR,))
    cold = power(reading(90, temperature_dk=None), playbook(), REST)
    assert [r.kind for r in found_remedies(cold, pack("P2", 90), outlets=0)] == [RemedyKind.MEASURE]
    assert [
        r.kind for r in remedies(power(None, playbook(), REST), playbook(), "Millrace", (), chargers=1, outlets=0)
    ] == []
    undrawn = power(reading(90), playbook(draw_mw=None), REST)
    assert [r.kind for r in found_remedies(undrawn, pack("P2", 90))] == [RemedyKind.EXTERNAL]


def test_what_was_measured_fills_the_gaps_alone() -> None:
    """What the unit tells itself stands."""
    told = Measured(error_percent=8, temperature_dk=2932).beside(reading(90, max_error_percent=None))

    assert (told.max_error_percent, told.temperature_dk) == (8, WARM_DK)
    assert power(told, playbook(), REST).answer is Answer.CLEAR


def test_a_fitted_pack_of_known_charge_is_believed_no_further_than_the_unit() -> None:
    """The lesser charge counts, and at least five percent for the error; a unit that tells its error is believed."""
    fitted = with_pack(reading(95, max_error_percent=None), 90)

    assert (fitted.charge_percent, fitted.max_error_percent) == (90, 5)
    assert with_pack(reading(40, max_error_percent=None), 90).charge_percent == 40
    assert with_pack(reading(95), 90) == reading(95)
    assert power(fitted, playbook(), REST).answer is Answer.CLEAR


def test_a_pack_of_unknown_energy_counts_as_aged() -> None:
    """Four fifths of the design's 30,000 mWh: the 1.25 of public sizing notes after IEEE 485."""
    finding = power(reading(90, full_mwh=None), playbook(), REST)

    assert (finding.figures["full_mwh"], finding.figures["full_known_as"]) == (24_000, "four fifths of the design's")


def test_a_unit_that_is_too_cold_is_not_written() -> None:
    """Below -18 C whatever its charge, and charging is no remedy."""
    finding = power(reading(100, temperature_dk=2531), playbook(), REST)

    assert finding.answer is Answer.STOP
    assert finding.text == "the battery is at -20 °C, below -18 °C: warm the unit before it is written"
    assert [r.kind for r in found_remedies(finding)] == [RemedyKind.EXTERNAL]


def test_nothing_to_write_needs_no_charge() -> None:
    """A unit already on its target."""
    assert power(None, playbook(), None).answer is Answer.CLEAR


def test_the_playbook_s_limits_hold() -> None:
    """Floor, reserve and margin are the playbook's where it names them."""
    limits = [{"check": "power", "limits": {"floor_percent": 50, "reserve_percent": 10, "margin_percent": 50}}]
    figures = power(reading(60), playbook(checks=limits), REST).figures

    assert (figures["floor_percent"], figures["reserve_percent"], figures["margin_percent"]) == (50, 10, 50)


def pack(number: str, charge: int, *fits: str) -> Pack:
    return Pack(number=number, fits=fits or ("Millrace",), charge_percent=charge)


def found_remedies(finding: Finding, *packs: Pack, chargers: int = 1, outlets: int = 1) -> tuple[Any, ...]:
    return remedies(finding, playbook(), "Millrace", packs, chargers=chargers, outlets=outlets)


def test_remedies_come_in_order_and_only_where_they_help() -> None:
    """A charged pack that fits, external power, charging with its minutes."""
    finding = power(reading(40), playbook(), REST)
    packs = (pack("P1", 45), pack("P2", 90), pack("P3", 100, "Osier"))

    found = found_remedies(finding, *packs)

    assert [r.kind for r in found] == [RemedyKind.PACK, RemedyKind.EXTERNAL, RemedyKind.CHARGE]
    assert [r.text for r in found] == [
        "fit shop pack P2 (90 % charge) now, before the write; whoever does it answers under their own name",
        (
            "connect external power now, before the write, and leave it on until the unit is verified; whoever does it "
            "answers under their own name"
        ),
        "charge from 40 % to 48 % before the write, about 10 min on a charger",
    ]
    needed = finding.figures["needed_percent"]
    assert isinstance(needed, int)
    assert found[2].charge_to_percent == needed
    # 24,000 mWh at 12,000 mW: 1.2 minutes for each percent.
    assert found[2].minutes == -(-(needed - 40) * 6 // 5)
    assert [r.kind for r in found_remedies(finding, *packs[:1], chargers=0, outlets=0)] == []


def test_a_clear_finding_needs_no_remedy() -> None:
    """Nothing to put right."""
    assert found_remedies(power(reading(95), playbook(), REST), pack("P2", 90)) == ()


def test_no_charge_is_enough_for_a_write_that_is_too_long() -> None:
    """Then charging is not offered, and the text says why."""
    finding = power(reading(95), playbook(), RestOfWay(9_000 * SECOND, 9_000 * SECOND, None, ()))

    assert "not even a full battery would do, use external power" in finding.text
    assert [r.kind for r in found_remedies(finding)] == [RemedyKind.EXTERNAL]


def test_what_would_clear_too_little_charge_names_the_ways_there_are() -> None:
    """Only what playbook and battery allow."""
    low = power(reading(40), playbook(), REST)
    bare = power(reading(40), playbook(pack_swap=False, external=False), REST)

    assert low.clears == "it has external power, a shop pack of known charge is fitted or it is charged to 48 %"
    assert bare.clears == "it is charged to 48 %"
    assert power(reading(100, temperature_dk=2531), playbook(), REST).clears == (
        "it has external power or the unit is warmer"
    )
