"""How long charging takes."""

from __future__ import annotations

import math

import pytest

from benchday.planning.charging import charging_hours, charging_minutes, slow_from
from tests.planning.shop import playbook


def test_charging_below_the_knee_is_rounded_up_to_whole_minutes() -> None:
    """30,000 mWh x 10 % at 12,000 mW are 15 minutes; one percent more is 16.5."""
    assert charging_minutes(40, 50, 30_000, playbook()) == 15
    assert charging_minutes(40, 51, 30_000, playbook()) == 17
    assert charging_minutes(60, 50, 30_000, playbook()) == 0


def test_the_last_fifth_takes_two_and_a_half_times_as_long() -> None:
    """From 80 to 100 % the power falls to a tenth: 20 % x ln 10 / 0.9 of the time at the whole power."""
    whole, last = charging_hours(60, 80, 30_000, 12_000), charging_hours(80, 100, 30_000, 12_000)

    assert float(last / whole) == pytest.approx(math.log(10) / 0.9)
    assert charging_minutes(80, 100, 30_000, playbook()) == 77


def test_the_closed_form_is_the_sum_of_small_steps() -> None:
    """By adding up a hundred thousand steps, each at the power in its middle."""
    steps = 100_000
    by_steps = 0.0
    for number in range(steps):
        charge = 70 + 28 * (number + 0.5) / steps
        power = 12_000 * (1 - 0.9 * max(charge - 80, 0) / 20)
        by_steps += 30_000 * 0.28 / steps / power

    assert float(charging_hours(70, 98, 30_000, 12_000)) == pytest.approx(by_steps, rel=1e-6)


def test_only_what_ends_above_the_knee_is_slow() -> None:
    """80 % is the last that is not."""
    assert not slow_from(80)
    assert slow_from(81)


@pytest.mark.parametrize(("now", "wanted"), [(-1, 50), (50, 101)])
def test_a_charge_that_there_is_not_is_refused(now: int, wanted: int) -> None:
    """0 to 100 %."""
    with pytest.raises(ValueError, match="a charge is 0 to 100 %"):
        charging_hours(now, wanted, 30_000, 12_000)
