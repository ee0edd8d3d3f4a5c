"""Laws, the line's physics, and the rest of a unit's way."""

from __future__ import annotations

import math
import random
import statistics

import pytest

from benchday.planning.durations import (
    LINE_115200,
    XMODEM_1K_115200,
    Pert,
    StepTimes,
    quantile,
    rest_of_way,
    rest_p99,
    transfer_us,
)

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


def test_equal_seeds_give_equal_answers() -> None:
    """The same question twice, worked out anew."""
    first = rest_of_way.__wrapped__(steps((), ()), 3)

    assert rest_of_way.__wrapped__(steps((), ()), 3) == first
    assert rest_of_way.__wrapped__(steps((), ()), 4) != first
