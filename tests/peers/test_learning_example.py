"""Learning against values from outside: a worked example, published tables of Student's t, and its exact formulas."""

from __future__ import annotations

import math

import pytest

from benchday.planning.durations import Pert
from benchday.planning.learning import learnt
from benchday.planning.student import cdf, quantile

PLAYBOOK = Pert(13, 17, 26)

# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, upper critical values of Student's t (three decimals, as
# printed in public copies); the number of the section from memory.
SHARES = (0.90, 0.95, 0.975, 0.99, 0.995)
TABLE = {
    1: (3.078, 6.314, 12.706, 31.821, 63.657),
    2: (1.886, 2.920, 4.303, 6.965, 9.925),
    3: (1.638, 2.353, 3.182, 4.541, 5.841),
    4: (1.533, 2.132, 2.776, 3.747, 4.604),
    5: (1.476, 2.015, 2.571, 3.365, 4.032),
    6: (1.440, 1.943, 2.447, 3.143, 3.707),
    10: (1.372, 1.812, 2.228, 2.764, 3.169),
    13: (1.350, 1.771, 2.160, 2.650, 3.012),
    20: (1.325, 1.725, 2.086, 2.528, 2.845),
    30: (1.310, 1.697, 2.042, 2.457, 2.750),
    60: (1.296, 1.671, 2.000, 2.390, 2.660),
    100: (1.290, 1.660, 1.984, 2.364, 2.626),
}


def test_before_any_record() -> None:
    """The worked example: playbook 13/17/26, computed apart from the formulas of Gelman et al., 3rd ed., 3.3."""
    known = learnt(PLAYBOOK, [])
    assert known.prior.location == pytest.approx(2.8737427504, abs=5e-11)
    assert known.prior.variance / 1.5 == pytest.approx(0.0146532296, abs=5e-11)
    assert known.scale == pytest.approx(0.2096656598, abs=5e-11)
    assert known.degrees == 3
    assert [known.quantile(s) for s in (0.5, 0.8, 0.95)] == pytest.approx([17.703153, 21.734368, 28.996126], abs=5e-7)


def test_after_three_records() -> None:
    """The same after 19, 22.5 and 20 minutes."""
    known = learnt(PLAYBOOK, [19, 22.5, 20])
    assert (known.location, known.scale) == pytest.approx((2.9818573281, 0.1418293915), abs=5e-11)
    assert known.degrees == 6
    assert [known.quantile(s) for s in (0.5, 0.8, 0.95)] == pytest.approx([19.724417, 22.428056, 25.983388], abs=5e-7)


@pytest.mark.parametrize("degrees", TABLE)
def test_quantiles_of_the_published_table(degrees: int) -> None:
    """To the last printed digit."""
    assert [round(quantile(s, degrees), 3) for s in SHARES] == pytest.approx(TABLE[degrees], abs=1e-9)


@pytest.mark.parametrize("share", [0.001, 0.05, 0.3, 0.5, 0.6, 0.8, 0.95, 0.99, 0.9999, 1 - 1e-9])
def test_quantiles_by_exact_formulas(share: float) -> None:
    """Shaw 2006, "Sampling Student's T distribution", J. Comput. Finance 9(4): 1, 2 and 4 degrees (from memory).

    To a relative 1e-9 throughout; the formulas themselves lose digits in the far tail.
    """
    alpha, sign = 4 * share * (1 - share), math.copysign(1, share - 0.5)
    one = math.tan(math.pi * (share - 0.5))
    two = 2 * (share - 0.5) * math.sqrt(2 / alpha)
    four = sign * 2 * math.sqrt(max(math.cos(math.acos(math.sqrt(alpha)) / 3) / math.sqrt(alpha) - 1, 0))
    for degrees, wanted in ((1, one), (2, two), (4, four)):
        assert quantile(share, degrees) == pytest.approx(wanted, rel=1e-7 if share > 0.99999 else 1e-9, abs=1e-9)


def _finite(t: float, degrees: int) -> float:
    """Return the probability within plus and minus t by finite sums (Abramowitz and Stegun 1964, 26.7.3 and 26.7.4)."""
    angle = math.atan(t / math.sqrt(degrees))
    cosine, term = math.cos(angle), 1.0
    if degrees % 2:
        total, term = 0.0, cosine
        for k in range(1, (degrees - 1) // 2 + 1):
            total += term
            term *= cosine**2 * 2 * k / (2 * k + 1)
        return 2 / math.pi * (angle + math.sin(angle) * total)
    total = 0.0
    for k in range(1, degrees // 2 + 1):
        total += term
        term *= cosine**2 * (2 * k - 1) / (2 * k)
    return math.sin(angle) * total


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 5, 6, 7, 13, 20, 53, 103, 500])
def test_probabilities_by_finite_sums(degrees: int) -> None:
    """The continued fraction against sums that share nothing with it."""
    for t in (0.001, 0.1, 0.7, 1.3, 2.5, 4.0, 9.0):
        assert 2 * cdf(t, degrees) - 1 == pytest.approx(_finite(t, degrees), abs=1e-12)
        assert 2 * cdf(quantile(0.8, degrees), degrees) - 1 == pytest.approx(0.6, abs=1e-12)


def test_many_degrees_come_to_the_normal() -> None:
    """The normal's 97.5 % (any table) and the first two terms of Abramowitz and Stegun 1964, 26.7.5 (from memory)."""
    z, n = 1.959963984540054, 1e4
    wanted = z + (z**3 + z) / (4 * n) + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * n**2)
    assert quantile(0.975, n) == pytest.approx(wanted, abs=1e-9)
