"""What holds of everything that is learnt."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.planning.durations import Pert
from benchday.planning.learning import Seen, retry_chance
from benchday.planning.learnt import Sums, learnt
from benchday.planning.student import cdf, quantile

MINUTES = st.floats(0, 2000)
POINTS = st.tuples(MINUTES, MINUTES, MINUTES).map(lambda three: Pert(*sorted(three)))
RECORDS = st.lists(MINUTES, max_size=30)
SHARES = st.floats(0.001, 0.999)
DEGREES = st.one_of(st.integers(1, 2000).map(float), st.floats(0.5, 500))


@settings(deadline=None)
@given(POINTS, RECORDS, st.lists(SHARES, min_size=2, max_size=5))
def test_quantiles_rise_and_stay_below_the_cap(points: Pert, took: list[float], shares: list[float]) -> None:
    """Whatever a playbook and the records say: finite, above 0, never falling."""
    known = learnt(points, took)
    values = [known.quantile(share) for share in sorted(shares)]
    assert values == sorted(values)
    assert all(0 < value <= known.cap < math.inf for value in values)
    assert known.cap >= 3 * max([points.longest, *took]) * (1 - 1e-12)


@settings(deadline=None)
@given(POINTS, st.lists(MINUTES, min_size=1, max_size=30), st.randoms(use_true_random=False))
def test_the_order_of_records_does_not_matter(points: Pert, took: list[float], source: random.Random) -> None:
    """A shop learns the same from the same days in any order."""
    mixed = took.copy()
    source.shuffle(mixed)
    one, other = learnt(points, took), learnt(points, mixed)
    assert (other.location, other.scale) == pytest.approx((one.location, one.scale), rel=1e-6, abs=1e-6)


@settings(deadline=None)
@given(POINTS, RECORDS, st.floats(0.01, 100))
def test_another_unit_of_time_changes_nothing_else(points: Pert, took: list[float], times: float) -> None:
    """All minutes multiplied, all quantiles are: as long as nothing counts as a second."""
    least = 1 / 60 / min(times, 1.0)
    raised = Pert(*(max(p, least) for p in (points.shortest, points.usual, points.longest)))
    kept = [max(minutes, least) for minutes in took]
    one = learnt(raised, kept)
    other = learnt(
        Pert(*(times * p for p in (raised.shortest, raised.usual, raised.longest))), [times * k for k in kept]
    )
    for share in (0.1, 0.5, 0.95):
        assert other.quantile(share) == pytest.approx(times * one.quantile(share), rel=1e-6)


@settings(deadline=None)
@given(st.lists(st.floats(-20, 20), min_size=1, max_size=50))
def test_sums_are_those_of_all_values(values: list[float]) -> None:
    """Mean and squares about it, kept one by one, as if taken at once."""
    sums, mean = Sums.of(values), math.fsum(values) / len(values)
    assert (sums.count, sums.largest) == (len(values), max(values))
    assert sums.mean == pytest.approx(mean, abs=1e-9)
    assert sums.squares == pytest.approx(math.fsum((v - mean) ** 2 for v in values), abs=1e-7)


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0.02, 500), st.integers(1, 10**12)), min_size=1, max_size=20), POINTS)
def test_a_larger_load_never_takes_less(steps: list[tuple[float, int]], points: Pert) -> None:
    """By size or not, more bytes are not faster."""
    seen = Seen.of(steps)
    small, large = (seen.learnt(points, size).quantile(0.8) for size in (10**6, 10**9))
    assert large >= small * (1 - 1e-12)


@settings(deadline=None)
@given(SHARES, DEGREES)
def test_the_quantile_undoes_the_probability(share: float, degrees: float) -> None:
    """Both ways, and the two sides are mirror images."""
    t = quantile(share, degrees)
    assert cdf(t, degrees) == pytest.approx(share, abs=1e-12)
    assert quantile(1 - share, degrees) == pytest.approx(-t, rel=1e-9, abs=1e-9)


@given(st.integers(0, 10_000).flatmap(lambda n: st.tuples(st.just(n), st.integers(0, n))))
def test_the_chance_of_another_try_lies_between_what_was_seen_and_one_in_twenty(seen: tuple[int, int]) -> None:
    """A mean of the two, weighted by records."""
    steps, again = seen
    low, high = sorted((0.05, again / steps if steps else 0.05))
    assert low - 1e-12 <= retry_chance(steps, again) <= high + 1e-12
