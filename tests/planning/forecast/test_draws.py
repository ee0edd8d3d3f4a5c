"""Draws: the right laws, reproducible, and nobody's draws depend on anybody else."""

from __future__ import annotations

import random
import statistics
from collections.abc import Sequence
from dataclasses import replace
from math import exp, sqrt
from statistics import NormalDist

import pytest

from benchday.planning import laws
from benchday.planning.forecast import draws
from benchday.planning.forecast.compiled_draws import Drawing
from benchday.planning.laws import Law
from benchday.planning.model import Model, ModelUnit, Stage
from tests.planning.forecast.usual import usual_day

UNIFORM = laws.Uniform(0, 1)
ALL_LAWS: list[Law] = [
    laws.Fixed(3),
    laws.Uniform(2, 5),
    laws.Triangular(1, 2, 6),
    laws.Pert(13, 17, 26),
    laws.LogNormal(17, 0.2),
    laws.Scaled(2, 1.5, 4, 0.3),
    laws.Student(2.0, 0.2, 8, 60),
    laws.Retried(laws.Pert(1, 2, 3), 0.3, laws.Retried(laws.Fixed(5), 0.5, laws.Uniform(1, 2))),
    laws.Remaining(laws.Pert(13, 17, 26), 18),
    laws.Remaining(laws.Retried(laws.Pert(1, 2, 3), 0.3, laws.Fixed(5)), 1.5),
]


def one_stage(law: Law, name: str = "a") -> Model:
    """Return a day of one unit with one stage."""
    return Model((), (ModelUnit(name, 0, 0, (Stage("work", (), (), law),)),))


def drawn(law: Law, count: int, seed: int = 1) -> list[float]:
    """Draw a law many times."""
    return [row[0] for row in draws.days(draws.plan(one_stage(law)), seed, count)]


@pytest.mark.parametrize("law", ALL_LAWS, ids=lambda law: type(law).__name__)
def test_the_same_law_as_it_draws_itself(law: Law) -> None:
    """Mean and quintiles of table draws beside those of the law's own draws, within four standard errors of both."""
    count = 8_000
    source = random.Random(7)
    table, own = drawn(law, count), [laws.draw(law, source) for _ in range(count)]
    error = sqrt((statistics.variance(table) + statistics.variance(own)) / count)
    assert statistics.fmean(table) == pytest.approx(statistics.fmean(own), abs=4 * error + 1e-9)
    for cut in statistics.quantiles(own, n=5):
        share = sum(value <= cut for value in own) / count
        found = sum(value <= cut for value in table) / count
        assert found == pytest.approx(share, abs=4 * sqrt(2 * share * (1 - share) / count) + 1e-9)


@pytest.mark.parametrize("law", ALL_LAWS, ids=lambda law: type(law).__name__)
def test_both_ways_of_drawing_draw_the_same(law: Law) -> None:
    """Bit by bit, over more than one block."""
    model = one_stage(law)
    compiled = [row for block in Drawing(draws.plan(model), 3).blocks(600) for row in block.tolist()]
    assert compiled == [list(row) for row in draws.days(draws.plan(model), 3, 600)]


def test_beta_variance_not_the_classic() -> None:
    """PERT 13, 17, 26 (Clark 1962): mean 17.8333, variance of its Beta 5.6389; the classic 4.6944 is another law's."""
    values = drawn(laws.Pert(13, 17, 26), 40_000)
    assert statistics.fmean(values) == pytest.approx(107 / 6, abs=4 * sqrt(5.64 / 40_000))
    assert statistics.variance(values) == pytest.approx(5.6388888889, rel=0.03)


def columns(model: Model, seed: int = 1, count: int = 300) -> dict[tuple[str, int], list[float]]:
    """Return what each stage of each unit draws."""
    plan = draws.plan(model)
    return dict(zip(plan.places, map(list, zip(*draws.days(plan, seed, count), strict=True)), strict=True))


def test_a_unit_draws_the_same_whatever_else_changes() -> None:
    """Fewer units, another order, other priorities and pools, fewer replications: its draws stay."""
    model = usual_day(12, gates=False)
    before = columns(model)
    fewer = Model(model.pools, tuple(replace(u, priority=5.0) for u in reversed(model.units[3:])), 400)
    assert all(before[place] == values for place, values in columns(fewer).items())
    assert all(before[place][:70] == values for place, values in columns(model, count=70).items())


def test_a_stage_with_another_law_leaves_the_others_alone() -> None:
    """And one law stretched is the same draw stretched."""
    model = usual_day(2)
    first = model.units[0]
    halved = replace(first.stages[0], law=laws.Pert(0.5, 1, 2.5))
    changed = columns(replace(model, units=(replace(first, stages=(halved, *first.stages[1:])), model.units[1])))
    before = columns(model)
    assert changed["u0", 0] == pytest.approx([value / 2 for value in before["u0", 0]])
    assert all(changed[place] == before[place] for place in before if place != ("u0", 0))


def correlation(one: Sequence[float], other: Sequence[float]) -> float:
    """Pearson's."""
    return statistics.correlation(one, other)


def test_draws_of_units_stages_and_seeds_are_independent() -> None:
    """No two are equal, and no correlation is beyond four standard errors (1 / sqrt n)."""
    way = (Stage("one", (), (), laws.Uniform(0, 1)), Stage("two", (), (), laws.Uniform(0, 1)))
    model = Model((), tuple(ModelUnit(name, 0, 0, way) for name in ("a", "b", "1/a", "1")))
    found = [*columns(model, 1, 2000).values(), *columns(model, 2, 2000).values()]
    for number, one in enumerate(found):
        for other in found[number + 1 :]:
            assert one != other
            assert abs(correlation(one, other)) < 4 / sqrt(2000)


def test_words_are_as_published() -> None:
    """SHAKE-128 (FIPS 202) of the text: what openssl dgst -shake128 -xoflen 12 gives for 7/2/0/0/u1."""
    assert draws.digest(7, "u1", 2, "0", 0, 3).hex() == "c946cadc5e784ab2d0a3c1fc"
    # The first is 0xdcca46c9 of 2^32: a uniform from 0 to 1 is that share, in the middle of its 2^-32.
    model = Model((), (ModelUnit("u1", 0, 0, (*[Stage("", (), (), laws.Fixed(1))] * 2, Stage("", (), (), UNIFORM))),))
    assert next(draws.days(draws.plan(model), 7, 1))[2] == pytest.approx(0xDCCA46C9 / 2**32, abs=2**-31)


def test_remaining_is_the_law_given_that_it_is_longer() -> None:
    """Uniform 2..5 after 4 minutes is uniform 0..1; an exponential has no table here, a uniform is exact."""
    left = drawn(laws.Remaining(laws.Uniform(2, 5), 4), 5_000)
    assert 0 < min(left) < 0.01
    assert 0.99 < max(left) < 1
    assert statistics.fmean(left) == pytest.approx(0.5, abs=4 * sqrt(1 / 12 / 5_000))
    assert drawn(laws.Remaining(laws.Uniform(2, 5), 1), 50) == [value - 1 for value in drawn(laws.Uniform(2, 5), 50)]


@pytest.mark.parametrize(
    "law", [laws.Uniform(2, 5), laws.Fixed(5), laws.Pert(1, 2, 5), laws.Student(0, 0.2, 5, 4.0), laws.LogNormal(1, 0.1)]
)
def test_who_has_outlived_the_law_ends_soon(law: Law) -> None:
    """5 % of the time elapsed, at least half a minute."""
    assert drawn(laws.Remaining(law, 40.0), 3) == [2.0] * 3
    assert drawn(laws.Remaining(law, 8.0), 3) == [0.5] * 3
    assert draws.remaining(law, 40.0, random.Random(1)) == 2.0


def test_far_out_in_the_tail() -> None:
    """A log-normal at 3.5 sigma: E[X | X > k] = m exp(s^2/2) P(Z > z - s) / P(Z > z) (elementary)."""
    median, sigma, z = 10, 0.2, 3.5
    normal, elapsed = NormalDist(), 10 * exp(3.5 * 0.2)
    mean = median * exp(sigma**2 / 2) * normal.cdf(sigma - z) / normal.cdf(-z) - elapsed
    left = drawn(laws.Remaining(laws.LogNormal(median, sigma), elapsed), 8_000)
    assert min(left) > 0
    assert statistics.fmean(left) == pytest.approx(mean, rel=0.06)


def test_a_draw_is_never_less_than_a_model_can_hold() -> None:
    """A draw below 1e-6 is raised to it."""
    assert drawn(laws.Uniform(0, 1e-9), 5) == [1e-6] * 5
    assert drawn(laws.Student(-400, 0.1, 3, 5), 5) == [1e-6] * 5
    assert drawn(laws.Fixed(0), 2) == [1e-6] * 2


def test_heavy_tails_are_capped() -> None:
    """Half a degree of freedom would go anywhere: nothing is above the cap, nothing is not a number."""
    values = drawn(laws.Student(1, 2, 0.5, 30), 3_000)
    assert max(values) == 30
    assert all(0 < value <= 30 for value in values)


@pytest.mark.parametrize("first", [1, 100, 256, 300])
def test_days_drawn_elsewhere_are_those_of_the_whole(first: int) -> None:
    """Whoever draws from the n-th day on draws what the whole has there, by either loop."""
    plan = draws.plan(usual_day(4))
    whole = [list(row) for row in draws.days(plan, 5, 600)]
    rest = [list(row) for row in draws.days(plan, 5, 600 - first, first)]
    blocks = [row for block in Drawing(plan, 5).blocks(600 - first, first) for row in block.tolist()]
    assert rest == whole[first:]
    assert blocks == whole[first:]


@pytest.mark.parametrize(("first", "count", "at_once"), [(0, 600, 256), (100, 600, 300), (255, 2, 1), (5, 0, 8)])
def test_pieces_cover_each_day_once_and_none_crosses_a_block(first: int, count: int, at_once: int) -> None:
    found = [256 * block + row for block, rows in draws.pieces(first, count, at_once) for row in range(256)[rows]]
    assert found == list(range(first, first + count))
    assert all(rows.stop - rows.start <= at_once for _, rows in draws.pieces(first, count, at_once))
