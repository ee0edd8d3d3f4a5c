"""Laws, the line's physics, and the rest of a unit's way."""

from __future__ import annotations

import math
import random
import statistics

import pytest

from benchday.domain.playbook import StepName
from benchday.planning.durations import (
    LINE_115200,
    XMODEM_1K_115200,
    Load,
    Pert,
    StepTimes,
    measured_round_trip_us,
    payload_rate,
    quantile,
    rest_of_way,
    rest_p99,
    steps_on_battery,
    steps_to_verify,
    transfer_us,
    xmodem_1k_rate,
)
from tests.planning.shop import playbook

MINUTE = 60_000_000
# Malcolm, Roseboom, Clark, Fazar 1959 and Clark 1962: formulas; values computed from the Beta law, exact as fractions.
PERT_ROWS = [
    (13, 17, 26, 2.2307692308, 3.7692307692, 17.8333333333, 5.6388888889, 17.63741651, 19.95237678, 22.05629261),
    (10, 15, 30, 2.0, 4.0, 16.6666666667, 12.6984126984, 16.27620341, 19.80384686, 23.14816636),
]


@pytest.mark.parametrize("row", PERT_ROWS)
def test_pert_parameters_and_moments(row: tuple[float, ...]) -> None:
    """Mean (a + 4m + b) / 6 and the variance of the Beta itself, not the classic (b - a)^2 / 36."""
    low, usual, high, alpha, beta, mean, variance, *_ = row
    law = Pert(low, usual, high)

    assert (law.alpha, law.beta, law.mean, law.variance) == pytest.approx((alpha, beta, mean, variance), abs=1e-9)
    assert law.variance != pytest.approx((high - low) ** 2 / 36)


@pytest.mark.parametrize("row", PERT_ROWS)
def test_pert_percentiles_by_simulation(row: tuple[float, ...]) -> None:
    """P50, P80, P95 of 40,000 draws lie within four standard errors of the Beta's own quantiles."""
    low, usual, high, *_, p50, p80, p95 = row
    law = Pert(low, usual, high)
    source = random.Random(7)
    draws = [law.draw(source) for _ in range(40_000)]

    for share, wanted in ((0.5, p50), (0.8, p80), (0.95, p95)):
        # The share below the true quantile is binomial: its standard error does not depend on the law.
        below = sum(d <= wanted for d in draws) / len(draws)
        assert below == pytest.approx(share, abs=4 * math.sqrt(share * (1 - share) / len(draws)))
    assert statistics.fmean(draws) == pytest.approx(law.mean, abs=4 * math.sqrt(law.variance / len(draws)))


def test_a_law_of_one_point_is_that_point() -> None:
    """Nothing is divided by a span of nothing."""
    law = Pert(3, 3, 3)

    assert (law.mean, law.variance, law.draw(random.Random(1))) == (3, 0, 3)


def test_points_out_of_order_are_refused() -> None:
    """The message shows the three points."""
    with pytest.raises(ValueError, match="must be in order and not negative"):
        Pert(3, 2, 4)


def test_line_rates() -> None:
    """115200 8N1 is 11,520 B/s; XMODEM-1K carries at most 11,453 of them; 1 MiB takes 91.02 s (arithmetic)."""
    assert LINE_115200 == 11_520
    assert round(XMODEM_1K_115200) == 11_453
    assert transfer_us(2**20, LINE_115200) == pytest.approx(91.02e6, abs=5_000)


# Block layout by Forsberg 1988; shares of the line's 11,520 B/s by turnaround in milliseconds, computed (percent).
FRAMINGS = [
    (128, 132 - 128 + 1, {0: 96.24, 1: 88.6, 2: 82.0, 4: 71.5, 16: 40.3}),
    (128, 133 - 128 + 1, {0: 95.52, 1: 88.0, 2: 81.5, 4: 71.1, 16: 40.2}),
    (1024, 1029 - 1024 + 1, {0: 99.42, 1: 98.3, 2: 97.2, 4: 95.2, 16: 84.3}),
]


@pytest.mark.parametrize(("block", "framing", "shares"), FRAMINGS)
def test_what_a_turnaround_leaves_of_the_line(block: int, framing: int, shares: dict[int, float]) -> None:
    """XMODEM with checksum, with CRC, and with blocks of 1,024 bytes."""
    count = 1000 * block
    for turnaround_ms, percent in shares.items():
        taken_us = transfer_us(count, payload_rate(LINE_115200, block, framing), block, turnaround_ms * 1000)
        digits = 2 if turnaround_ms == 0 else 1
        assert round(100 * count * 1e6 / taken_us / LINE_115200, digits) == percent, turnaround_ms


def test_a_faster_line_is_faster() -> None:
    """921600 baud is 92,160 B/s, eight times 115200 (arithmetic)."""
    assert xmodem_1k_rate(921_600) == pytest.approx(8 * XMODEM_1K_115200)


@pytest.mark.parametrize(
    ("took_us", "round_trip_us"), [(3_000, 1_000), (8_077, 2_000), (22_077, 16_000), (10**7, 50_000)]
)
def test_a_round_trip_is_what_is_left_of_an_exchange(took_us: int, round_trip_us: int) -> None:
    """70 bytes take 6,077 microseconds at 115200; less than a millisecond and more than 50 are not believed."""
    assert measured_round_trip_us(took_us, 70, 115_200) == round_trip_us


@pytest.mark.parametrize(("rate", "block"), [(0.0, None), (-1.0, None), (100.0, 0)])
def test_a_line_without_a_rate_is_refused(rate: float, block: int | None) -> None:
    """Nothing ever arrives over it."""
    with pytest.raises(ValueError, match="must be above 0"):
        transfer_us(1, rate, block)


def test_quantiles_interpolate_between_sorted_values() -> None:
    """Rule 6 of the policy: linear interpolation."""
    assert quantile([4, 1, 3, 2], 0.5) == 2.5
    assert quantile([4, 1, 3, 2], 1.0) == 4
    assert quantile([5], 0.99) == 5


def steps(*records: tuple[int, ...]) -> tuple[StepTimes, ...]:
    law = Pert(10 * MINUTE, 15 * MINUTE, 30 * MINUTE)
    return tuple(StepTimes(f"step {n}", law, taken) for n, taken in enumerate(records))


def test_the_sum_is_drawn_and_percentiles_are_not_added() -> None:
    """The 99th percentile of a sum of four lies well under four times that of one."""
    one = rest_p99(steps(()), 7)
    four = rest_p99(steps((), (), (), ()), 7)

    assert four < 0.85 * 4 * one
    # Normal approximation of the sum: mean 4 x 16.67, sd sqrt(4 x 12.70), z 2.326; the sum is a little skewed.
    assert four / MINUTE == pytest.approx(4 * 16.6667 + 2.326 * math.sqrt(4 * 12.6984), rel=0.03)


def test_with_few_records_the_worst_seen_counts_one_and_a_half_times() -> None:
    """The larger of the two, and the basis says which and why."""
    slow = rest_of_way(steps((20 * MINUTE, 28 * MINUTE)), 7)
    quick = rest_of_way(steps((11 * MINUTE,) * 9), 7)

    assert slow.p99_us == 42 * MINUTE
    assert slow.text == (
        "42 min in 99 of 100 cases (by 1.5 times the worst seen, because fewer than ten records exist of step 0)"
    )
    assert quick.p99_us == quick.playbook_us > 16.5 * MINUTE
    assert "by the playbook's durations, because fewer than ten records exist of step 0" in quick.text


def test_ten_records_speak_for_themselves() -> None:
    """No factor, no playbook."""
    way = rest_of_way(steps(tuple(range(11 * MINUTE, 21 * MINUTE, MINUTE))), 7)

    assert 19 * MINUTE <= way.p99_us <= 20 * MINUTE
    assert way.basis == "drawn from the shop's own records"


def test_no_record_is_quicker_than_the_line_for_this_load() -> None:
    """Ten small images took three minutes each; this one needs twelve on the line alone."""
    law = Pert(10 * MINUTE, 15 * MINUTE, 30 * MINUTE)
    many = StepTimes("write", law, (3 * MINUTE,) * 10, least_us=12 * MINUTE)
    few = StepTimes("write", law.not_under(12 * MINUTE), (3 * MINUTE,) * 2, least_us=12 * MINUTE)

    assert rest_of_way((many,), 7).p99_us == 12 * MINUTE
    assert rest_of_way((few,), 7).seen_us == 18 * MINUTE
    assert rest_of_way((StepTimes("write", law, (3 * MINUTE,) * 10),), 7).p99_us == 3 * MINUTE


def test_equal_seeds_give_equal_answers() -> None:
    """The same question twice, worked out anew."""
    first = rest_of_way.__wrapped__(steps((), ()), 3)

    assert rest_of_way.__wrapped__(steps((), ()), 3) == first
    assert rest_of_way.__wrapped__(steps((), ()), 4) != first


def test_the_battery_must_last_for_every_write_of_a_route() -> None:
    """Two images are written, restarted and verified; to closing the unit is checked and confirmed again between."""
    load = Load((300_000, 400_000), 5_000_000, None)

    names = [s.step for s in steps_on_battery(playbook(), load, {})]
    ahead = [s.step for s in steps_to_verify(playbook(), StepName.PRESERVE, load, {})]

    assert names == ["write", "restart", "verify"] * 2
    assert ahead == [
        "preserve",
        "confirm",
        "write",
        "restart",
        "verify",
        "check",
        "confirm",
        "write",
        "restart",
        "verify",
    ]


def test_physics_raises_what_the_playbook_guesses() -> None:
    """300 MB of recordings at 11,520 B/s take 7 h 14 min at least, whatever the playbook says."""
    load = Load((300_000,), 300_000_000, LINE_115200)
    preserve, *_ = steps_to_verify(playbook(), StepName.PRESERVE, load, {"preserve": [MINUTE]})

    assert preserve.points.shortest == preserve.points.longest == pytest.approx(434.03 * MINUTE, rel=1e-4)
    assert preserve.records_us == (MINUTE,)


def test_a_round_trip_for_each_block_is_reckoned_with() -> None:
    """300,000 bytes are 293 blocks of 1,024: at 16 ms each 4.688 s more than at none."""
    plain = Load((300_000,), 0, XMODEM_1K_115200)
    slow = Load((300_000,), 0, XMODEM_1K_115200, 1024, 16_000)

    assert slow.line_us(300_000) - plain.line_us(300_000) == 293 * 16_000
    assert Load((300_000,), 0, None, 1024, 16_000).line_us(300_000) == 0


OWN = {"shortest": 10, "usual": 15, "longest": 21}


def test_a_write_is_what_the_unit_takes_and_the_transfer_where_the_line_is_known() -> None:
    """Own minutes and the transfer are added; without a line the whole write's minutes hold."""
    book = playbook()
    service = [s.model_dump(mode="json") | ({"own_minutes": OWN} if s.step == "write" else {}) for s in book.service]
    book = playbook(service=service)
    transfer = Load((4_000_000,), 0, XMODEM_1K_115200).line_us(4_000_000)

    write, *_ = steps_on_battery(book, Load((4_000_000,), 0, XMODEM_1K_115200), {})
    unknown, *_ = steps_on_battery(book, Load((4_000_000,), 0, None), {})

    assert 5.8 * MINUTE < transfer < 5.9 * MINUTE
    assert write.points == Pert(*(minutes * MINUTE + transfer for minutes in (10, 15, 21)))
    assert unknown.points == Pert(*(minutes * MINUTE for minutes in (13, 17, 26)))


def test_no_steps_to_write_where_nothing_is_written() -> None:
    """Identify, check and verify remain."""
    ahead = steps_to_verify(playbook(), StepName.IDENTIFY, Load((), 0, None), {})

    assert [s.step for s in ahead] == ["identify", "check", "verify"]
