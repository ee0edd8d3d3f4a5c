"""What holds for every charging."""

from __future__ import annotations

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.domain.playbook import Playbook
from benchday.planning.charging import charging_minutes
from tests.planning.shop import playbook

PERCENT = st.integers(0, 100)
FULL_MWH = st.integers(1_000, 90_000)
BOOKS = st.integers(2_000, 60_000).map(lambda charge_mw: playbook(charge_mw=charge_mw))


@settings(deadline=None)
@given(PERCENT, PERCENT, PERCENT, FULL_MWH, BOOKS)
def test_more_charge_never_takes_less_time(one: int, two: int, three: int, full: int, book: Playbook) -> None:
    """From the same charge to a higher one, and to the same charge from a lower one."""
    low, middle, high = sorted((one, two, three))

    assert charging_minutes(low, middle, full, book) <= charging_minutes(low, high, full, book)
    assert charging_minutes(middle, high, full, book) <= charging_minutes(low, high, full, book)


@settings(deadline=None)
@given(PERCENT, PERCENT, PERCENT, FULL_MWH, BOOKS)
def test_two_parts_take_as_long_as_the_whole(one: int, two: int, three: int, full: int, book: Playbook) -> None:
    """But for the rounding up of each part to a whole minute."""
    low, middle, high = sorted((one, two, three))
    parts = charging_minutes(low, middle, full, book) + charging_minutes(middle, high, full, book)

    assert 0 <= parts - charging_minutes(low, high, full, book) <= 1


@settings(deadline=None)
@given(PERCENT, PERCENT, FULL_MWH, BOOKS)
def test_nothing_charges_faster_than_the_charger_s_whole_power(one: int, two: int, full: int, book: Playbook) -> None:
    """The constant rate is the least time; below the knee it is the time."""
    low, high = sorted((one, two))
    charge_mw = book.power.charge_mw
    least = math.ceil((high - low) * full * 60 / (100 * charge_mw) - 1e-9)

    assert charging_minutes(low, high, full, book) >= least
    if high <= 80:
        assert charging_minutes(low, high, full, book) == -(-(high - low) * full * 60 // (100 * charge_mw))
