"""How often predictions of past days held."""

from __future__ import annotations

import math
import random

import pytest

from benchday.domain.playbook import StepName
from benchday.planning.calibration import SHARES, Calibration, Coverage, calibration
from benchday.planning.learning import learnt
from benchday.planning.learning_records import Told, told
from tests.planning.shop import playbook
from tests.planning.taught import MODEL, Teaching

CHECK = (MODEL, StepName.CHECK)
POINTS = playbook().step(StepName.CHECK).minutes


def held(shop: Teaching) -> Calibration:
    """Replay a bench's days."""
    return calibration(told(shop.entries))


def share_of(minutes: float, *records: float) -> float:
    """Return what is stated of a check's minutes after these records."""
    return learnt(POINTS, records).share_at(minutes)


def expected(*stated: float) -> list[int]:
    """Return how many of these stated shares each share covers."""
    return [sum(s <= share for s in stated) for share in SHARES]


def test_a_day_is_predicted_by_what_was_known_when_it_began() -> None:
    """Its own steps teach the next day, not this one."""
    shop = Teaching()
    shop.day("U1", says=playbook())
    for minutes in (0.9, 0.7):
        shop.step("check", minutes)
    shop.day("U1")
    shop.step("check", 0.8)
    coverage = held(shop).by_step[CHECK]
    assert coverage.predictions == 3
    assert coverage.held == expected(share_of(0.9), share_of(0.7), share_of(0.8, 0.9, 0.7))
    # Were the day's own first step known, its second would be stated otherwise.
    assert coverage.held != expected(share_of(0.9), share_of(0.7, 0.9), share_of(0.8, 0.9, 0.7))


def test_days_of_two_benches_that_overlap() -> None:
    """Each is predicted by what both had done when it began."""
    one, other = Teaching("b1"), Teaching("b2")
    one.day("U1", says=playbook())
    other.day("U1")
    one.step("check", 0.9)
    other.step("check", 0.4)
    overlapping = [*one.entries[:-2], *other.entries[:2], *one.entries[-2:], *other.entries[2:]]
    found = calibration(told(overlapping)).by_step[CHECK]
    assert found.held == expected(share_of(0.9), share_of(0.4))
    after = calibration(told([*one.entries, *other.entries])).by_step[CHECK]
    assert after.held == expected(share_of(0.9), share_of(0.4, 0.9))


def test_a_changed_playbook() -> None:
    """Each day is predicted by the playbook that it read."""
    shop = Teaching()
    shop.day("U1", says=playbook())
    shop.step("check", 0.9)
    slow = playbook(service=[s | {"minutes": {"shortest": 5, "usual": 6, "longest": 9}} for s in _service()])
    shop.day("U1", says=slow)
    shop.step("check", 6)
    wanted = learnt(slow.step(StepName.CHECK).minutes, [0.9]).share_at(6)
    assert held(shop).by_step[CHECK].held == expected(share_of(0.9), wanted)


def _service() -> list[dict[str, object]]:
    return [{"step": name.value} for name in StepName]


def test_sizes_are_known_when_they_are_predicted() -> None:
    """A large load that takes long is no surprise where minutes follow gigabytes."""
    shop = Teaching()
    shop.day("U1", says=playbook())
    for size in (100, 200, 400, 800):
        shop.preserve(size / 100, size * 10**6)
    shop.day("U1")
    shop.preserve(64, 6400 * 10**6)
    coverage = held(shop).by_step[MODEL, StepName.PRESERVE]
    earlier = Teaching()
    earlier.entries = shop.entries[: -2 - 3]
    before = held(earlier).by_step[MODEL, StepName.PRESERVE]
    new = [a - b for a, b in zip(coverage.held, before.held, strict=True)]
    assert new[SHARES.index(0.95)] == 1


def test_without_a_playbook_nothing_is_predicted() -> None:
    """There are no points to begin from."""
    shop = Teaching()
    shop.day("U1")
    shop.step("check", 0.9)
    found = held(shop)
    assert (found.overall.predictions, found.overall.observed(0.8), found.overall.error(0.8)) == (0, None, None)


def test_overall_is_the_sum_in_the_order_of_the_service() -> None:
    """Steps stand by model and as they come in a service."""
    shop = Teaching()
    shop.day("U1", says=playbook())
    for step in ("verify", "check", "identify"):
        shop.step(step, 0.4)
    found = held(shop)
    assert [step.value for _, step in found.by_step] == ["identify", "check", "verify"]
    assert found.overall.predictions == 3
    assert found.overall.held == [sum(n) for n in zip(*(c.held for c in found.by_step.values()), strict=True)]


def test_standard_errors() -> None:
    """sqrt(p (1 - p) / n)"""
    coverage = Coverage()
    for number in range(100):
        coverage.add(number / 100)
    assert coverage.observed(0.8) == 0.81
    assert coverage.error(0.8) == pytest.approx(0.04)


def test_a_shop_whose_days_repeat_is_predicted_as_stated() -> None:
    """200 days of log-normal steps, ten a day: 80 % holds in 80 %, 95 % in 95 %, three standard errors."""
    shop, source = Teaching(), random.Random(17)
    for _ in range(200):
        shop.day("U1", says=playbook())
        for _ in range(10):
            shop.step("check", source.lognormvariate(math.log(0.9), 0.3))
    overall = held(shop).overall
    assert overall.predictions == 2000
    for share in (0.5, 0.8, 0.95):
        assert overall.observed(share) == pytest.approx(share, abs=3 * (overall.error(share) or 0))


def test_it_takes_what_is_told_once() -> None:
    """A stream does, nothing is gone through twice."""
    shop = Teaching()
    shop.day("U1", says=playbook())
    shop.step("check", 0.9)
    stream: list[Told] = list(told(shop.entries))
    assert calibration(iter(stream)).overall.held == calibration(stream).overall.held
