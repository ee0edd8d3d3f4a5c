"""The tables against closed forms, published quantiles and the standard library's normal law."""

from __future__ import annotations

import math
from statistics import NormalDist

import pytest

from benchday.planning.forecast import tables
from benchday.planning.forecast.tables import WORD, Shape

SHARES = (0.0001, 0.0007, 0.001, 0.01, 0.2, 0.5, 0.77, 0.95, 0.999, 0.9996, 0.99995)


def at(shape: Shape, share: float) -> float:
    """Look a share up."""
    return tables.lines(shape, 0.0, 1.0).at(round(share * WORD))


@pytest.mark.parametrize("share", SHARES)
def test_beta_where_its_inverse_is_closed(share: float) -> None:
    """Beta(1, 5) and Beta(5, 1), the PERT laws whose usual is their shortest or longest; Beta(1, 1) is uniform."""
    assert at(tables.beta(1, 5), share) == pytest.approx(1 - (1 - share) ** (1 / 5), rel=2e-3, abs=2e-5)
    assert at(tables.beta(5, 1), share) == pytest.approx(share ** (1 / 5), rel=2e-3)
    assert at(tables.beta(1, 1), share) == pytest.approx(share, rel=2e-4)


@pytest.mark.parametrize("share", SHARES)
def test_beta_of_a_symmetrical_pert(share: float) -> None:
    """Beta(3, 3) has the distribution function x^3 (10 - 15 x + 6 x^2)."""
    x = at(tables.beta(3, 3), share)
    assert x**3 * (10 - 15 * x + 6 * x**2) == pytest.approx(share, rel=5e-3)


@pytest.mark.parametrize(
    ("points", "quantiles"),
    [
        ((13, 17, 26), (17.63741651, 19.95237678, 22.05629261)),
        ((10, 15, 30), (16.27620341, 19.80384686, 23.14816636)),
    ],
)
def test_pert_quantiles(points: tuple[float, float, float], quantiles: tuple[float, float, float]) -> None:
    """P50, P80 and P95 of the Beta of three points (Malcolm, Roseboom, Clark, Fazar 1959; Clark 1962)."""
    a, m, b = points
    shape = tables.beta(1 + 4 * (m - a) / (b - a), 1 + 4 * (b - m) / (b - a))

    found = [a + (b - a) * at(shape, share) for share in (0.5, 0.8, 0.95)]
    assert found == pytest.approx(quantiles, abs=1e-4)


def test_log_normal_quantiles() -> None:
    """Median 17, sigma 0.2: P80 20.1164440145, P95 23.6221320062 (median times exp(sigma z))."""
    shape = tables.exponential_of_normal(0.2)
    assert [17 * at(shape, share) for share in (0.5, 0.8, 0.95)] == pytest.approx(
        (17, 20.1164440145, 23.6221320062), abs=1e-4
    )


@pytest.mark.parametrize("share", SHARES)
def test_student_where_its_inverse_is_closed(share: float) -> None:
    """One degree of freedom: tan(pi (u - 1/2)); two: (2u - 1) / sqrt(2u (1 - u)) (both elementary)."""
    one = Shape.of(tables._student(1))
    two = Shape.of(tables._student(2))
    assert at(one, share) == pytest.approx(math.tan(math.pi * (share - 0.5)), rel=0.02, abs=1e-6)
    assert at(two, share) == pytest.approx((2 * share - 1) / math.sqrt(2 * share * (1 - share)), rel=0.01, abs=1e-6)


@pytest.mark.parametrize("share", [0.8, 0.95, 0.999])
def test_student_meets_itself_where_the_way_of_computing_changes(share: float) -> None:
    """Just below and above a hundred degrees; far above, it is the normal law."""
    below, above = Shape.of(tables._student(99.999)), Shape.of(tables._student(100.001))
    assert at(below, share) == pytest.approx(at(above, share), rel=1e-4)
    assert at(Shape.of(tables._student(1e7)), share) == pytest.approx(NormalDist().inv_cdf(share), rel=1e-3)


@pytest.mark.parametrize("degrees", [0.5, 1.0, 3.0, 40.0, 400.0])
def test_student_is_symmetrical_and_rises(degrees: float) -> None:
    """The same to both sides, and never falling."""
    values = tables._student(degrees)
    interior = values[: tables.LOW]
    assert list(interior) == sorted(interior)
    assert [-v for v in reversed(interior)] == pytest.approx(interior, rel=1e-9, abs=1e-12)


def test_triangular_is_closed() -> None:
    """F(x) = x^2/c below the mode, 1 - (1-x)^2/(1-c) above."""
    shape = tables.triangle(0.25)
    for share in SHARES:
        x = at(shape, share)
        found = x * x / 0.25 if x < 0.25 else 1 - (1 - x) ** 2 / 0.75
        assert found == pytest.approx(share, abs=2e-5)
    assert at(tables.triangle(0.0), 0.5) == pytest.approx(1 - math.sqrt(0.5), abs=1e-6)
    assert at(tables.triangle(1.0), 0.5) == pytest.approx(math.sqrt(0.5), abs=1e-6)


def test_every_share_has_its_place() -> None:
    """From the least word to the greatest, values never fall and stay within the law."""
    shape = tables.flat_shape()
    shares = sorted({*range(0, WORD, WORD // 5000), 0, WORD - 1, 1 << 22, (1 << 22) - 1, WORD - (1 << 22)})
    values = [tables.lines(shape, 0.0, 1.0).at(share) for share in shares]
    assert values == sorted(values)
    assert 0 < values[0] < 1e-4
    assert 1 - 1e-4 < values[-1] < 1


@pytest.mark.parametrize("share", [0, 1, 1 << 21, 1 << 22, WORD // 3, WORD - (1 << 22), WORD - 1])
def test_lines_are_the_shape_moved_and_stretched(share: int) -> None:
    """Also in the first and the last interval, which are divided once more."""
    shape = tables.exponential_of_normal(0.3)
    plain, moved = tables.lines(shape, 0.0, 1.0), tables.lines(shape, 2.5, 17.0)
    assert moved.at(share) == pytest.approx(2.5 + 17.0 * plain.at(share), rel=1e-9)
