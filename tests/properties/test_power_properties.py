"""What holds for every energy balance."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from benchday.planning.power import Balance, derating

BALANCES = st.builds(
    Balance,
    charge_percent=st.integers(0, 100),
    error_percent=st.integers(5, 40),
    full_mwh=st.integers(1, 80_000),
    derating=st.integers(2400, 3200).map(derating),
    draw_mw=st.integers(0, 20_000),
    time_us=st.integers(0, 6_000_000_000),
    reserve_percent=st.integers(0, 50),
    floor_percent=st.integers(0, 60),
)


@settings(deadline=None)
@given(BALANCES, st.integers(0, 100))
def test_more_charge_never_turns_go_into_no_go(balance: Balance, more: int) -> None:
    """Charging cannot harm."""
    charged = replace(balance, charge_percent=min(100, balance.charge_percent + more))

    assert charged.go or not balance.go


@settings(deadline=None)
@given(BALANCES, st.integers(0, 10_000), st.integers(0, 10**9))
def test_more_draw_or_time_never_turns_no_go_into_go(balance: Balance, draw_mw: int, time_us: int) -> None:
    """A harder write is not easier."""
    harder = replace(balance, draw_mw=balance.draw_mw + draw_mw, time_us=balance.time_us + time_us)

    assert balance.go or not harder.go


@settings(deadline=None)
@given(BALANCES)
def test_the_needed_charge_is_the_least_that_goes(balance: Balance) -> None:
    """By trying every charge from 0 to 100."""
    going = [percent for percent in range(101) if replace(balance, charge_percent=percent).go]

    assert balance.needed_percent == (min(going) if going else None)


@settings(deadline=None)
@given(BALANCES)
def test_the_decision_is_that_of_exact_fractions_rounded_against_the_write(balance: Balance) -> None:
    """Go implies that the exact energies go too."""
    full = Fraction(balance.full_mwh)
    have = Fraction(balance.sure_percent, 100) * full * balance.derating - Fraction(balance.reserve_percent, 100) * full
    need = Fraction(balance.draw_mw) * Fraction(5, 4) * balance.tries * balance.time_us / 3_600_000_000

    assert not balance.go or have >= need


@given(st.integers(0, 4000))
def test_derating_stays_between_a_half_and_one_and_rises_with_warmth(temperature_dk: int) -> None:
    """Any temperature."""
    assert Fraction(1, 2) <= derating(temperature_dk) <= derating(temperature_dk + 1) <= 1
