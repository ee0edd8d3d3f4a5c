"""How long charging takes: constant current up to a knee, then ever slower.

    up to 80 % state of charge      the charger's whole power
    from there to 100 %             the power falls in a straight line to a tenth

The knee and the tenth are common practice for lithium packs (constant current, then constant voltage), no source; the
integral of the reciprocal power is exact: constant below the knee, a logarithm above.
"""

from __future__ import annotations

import math
from fractions import Fraction

from benchday.domain.playbook import Playbook

KNEE_PERCENT = 80
"""State of charge up to which the charger gives its whole power; common practice, no source."""
LAST_RATE = Fraction(1, 10)
"""Part of it that is left at 100 %; common practice, no source."""

ABOVE_FLOOR_PERCENT = 20
"""How far above the least a unit is charged that shows plainly too little at check-in; common practice, no source."""


def percent_wanted(percent: int, floor_percent: int, *, external: bool, pack: bool) -> int | None:
    """Return to how much a unit is charged before it comes to a station; None if that is not needed.

    Args:
        percent: charge shown when it comes.
        floor_percent: least charge at which a write may begin, error included.
        external: it can run from external power while it is written.
        pack: a charged pack of the shop can be fitted.
    """
    return None if external or pack or percent >= floor_percent else min(floor_percent + ABOVE_FLOOR_PERCENT, 100)


def charging_minutes(from_percent: int, to_percent: int, full_mwh: int, playbook: Playbook) -> int:
    """Return how long charging takes at the playbook's rate, whole minutes, rounded up.

    Args:
        from_percent: state of charge now, 0 to 100.
        to_percent: state of charge wanted, 0 to 100; nothing is to be done where it is not above the first.
        full_mwh: what the pack holds when full.
        playbook: its charge_mw is the rate below the knee.
    """
    return math.ceil(charging_hours(from_percent, to_percent, full_mwh, playbook.power.charge_mw) * 60)


def charging_hours(from_percent: int, to_percent: int, full_mwh: int, charge_mw: int) -> Fraction:
    """Return how long charging takes, hours; exact below the knee, so that no binary rounding adds a minute there."""
    if not (0 <= from_percent <= 100 and 0 <= to_percent <= 100):
        raise ValueError(f"a charge is 0 to 100 %, got {from_percent} to {to_percent} %")
    one_percent = Fraction(full_mwh, 100 * charge_mw)
    return one_percent * max(_stretched(to_percent) - _stretched(from_percent), Fraction(0))


def slow_from(to_percent: int) -> bool:
    """Tell whether charging so far ends in the slow part."""
    return to_percent > KNEE_PERCENT


def _stretched(percent: int) -> Fraction:
    """Return for how many percent at the whole rate charging from empty to here would last."""
    if percent <= KNEE_PERCENT:
        return Fraction(percent)
    fall = (1 - LAST_RATE) / (100 - KNEE_PERCENT)
    rate = 1 - fall * (percent - KNEE_PERCENT)
    return KNEE_PERCENT - Fraction(math.log(rate)) / fall
