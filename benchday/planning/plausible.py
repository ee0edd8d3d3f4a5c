"""Whether a position that a receiver reports can be true where the shop's known mark is. Never how accurate it is.

    off        length of the geodesic on the WGS 84 ellipsoid (Karney 2013, by the library that he keeps)
    tolerance  by the kind of fix, plus how far off the mark itself may be

For a single fix the horizontal error stays within 2 drms = 2 x HDOP x one-sigma range error in 95 to 98 % of cases
(National Research Council, The Global Positioning System: A Shared National Asset, 1995, on expressions of accuracy).
Twice the one-sigma range error is about its 95 % figure, 7.8 m for the signal in space (GPS SPS Performance Standard,
4th edition 2008, section 3.4; value from memory). That is doubled here for ionosphere, troposphere and what is
reflected beside a workshop: ours. What the receiver says of its own deviation counts where it is larger, twice, as
2 drms has it. Where no HDOP is told 2 is supposed: ours. Float and fixed: common practice, no source.
"""

from __future__ import annotations

from benchday.domain.mark import Mark
from benchday.domain.readings import Sky

RANGE_ERROR_MM = 7_800
"""95 % of the signal in space."""
BESIDE_A_WORKSHOP = 2
SUPPOSED_HDOP_CENTI = 200
WITHIN_MM = {"float": 2_000, "fixed": 200}
"""Fix -> tolerance in millimetres."""


def plausibility(sky: Sky, mark: Mark) -> str | None:
    """Say whether a position is plausible at a mark; None where the receiver has none.

    Args:
        sky: what the receiver reports.
        mark: over which its antenna stands.
    """
    if sky.fix == "none" or sky.latitude_e7 is None or sky.longitude_e7 is None:
        return None
    off_m, tolerance_m = off_mm(sky.latitude_e7, sky.longitude_e7, mark) / 1000, tolerance_mm(sky, mark) / 1000
    if off_m <= tolerance_m:
        return f"plausible within {tolerance_m:.1f} m of {mark.name}"
    return f"not plausible: {off_m:.1f} m off {mark.name}, tolerance {tolerance_m:.1f} m"


def tolerance_mm(sky: Sky, mark: Mark) -> int:
    """Return how far off a position of this fix may be, in millimetres."""
    hdop_centi = sky.hdop_centi if sky.hdop_centi is not None else SUPPOSED_HDOP_CENTI
    single = BESIDE_A_WORKSHOP * RANGE_ERROR_MM * hdop_centi // 100
    return max(WITHIN_MM.get(sky.fix, single), 2 * (sky.deviation_mm or 0)) + mark.uncertainty_mm


def off_mm(latitude_e7: int, longitude_e7: int, mark: Mark) -> int:
    """Return the length of the geodesic from a position (1e-7 degrees) to the mark, in whole millimetres."""
    # Loaded where a position is compared, which is once a unit: most commands need it never.
    from geographiclib.geodesic import Geodesic  # noqa: PLC0415

    here = (latitude_e7 / 10_000_000, longitude_e7 / 10_000_000)
    found = Geodesic.WGS84.Inverse(*here, float(mark.latitude), float(mark.longitude), Geodesic.DISTANCE)
    return round(float(found["s12"]) * 1000)
