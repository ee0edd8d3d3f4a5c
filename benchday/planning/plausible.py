"""Whether a position that a receiver reports can be true where the shop's known mark is. Never how accurate it is.

    off        length of the geodesic on the WGS 84 ellipsoid (Karney 2013, by the library that he keeps)
    height     of the antenna above the ellipsoid, against the mark's plus the antennas' height over it
    tolerance  by the kind of fix, plus how far off the mark itself may be

For a single fix the horizontal error stays within 2 drms = 2 x HDOP x one-sigma range error in 95 to 98 % of cases
(National Research Council, The Global Positioning System: A Shared National Asset, 1995, on expressions of accuracy).
Twice the one-sigma range error is about its 95 % figure, 7.8 m for the signal in space (GPS SPS Performance Standard,
4th edition 2008, section 3.4; value from memory). That is doubled here for ionosphere, troposphere and what is
reflected beside a workshop: ours. What the receiver says of its own deviation counts where it is larger, twice, as
2 drms has it. Where no HDOP is told 2 is supposed: ours. Float and fixed: common practice, no source.

Heights are looser. The vertical dilution takes the horizontal one's place: an error of the height has the standard
deviation VDOP x range error (Langley, Dilution of precision, GPS World 1999; from memory). Where no VDOP is told twice
the HDOP is supposed, and float and fixed are given twice the horizontal tolerance: common practice, no source.
"""

from __future__ import annotations

from decimal import Decimal

from benchday.domain.mark import Mark
from benchday.domain.readings import Sky

RANGE_ERROR_MM = 7_800
"""95 % of the signal in space."""
BESIDE_A_WORKSHOP = 2
SUPPOSED_HDOP_CENTI = 200
WITHIN_MM = {"float": 2_000, "fixed": 200}
"""Fix -> tolerance in millimetres."""
HEIGHT_LOOSER = 2
"""How much worse heights are supposed to be than places."""


def plausibility(sky: Sky, mark: Mark) -> str | None:
    """Say whether a position is plausible at a mark; None where the receiver has none.

    Args:
        sky: what the receiver reports; a height that it does not tell above the ellipsoid is not compared.
        mark: over which its antenna stands.
    """
    if sky.fix == "none" or sky.latitude_e7 is None or sky.longitude_e7 is None:
        return None
    off, within = off_mm(sky.latitude_e7, sky.longitude_e7, mark), tolerance_mm(sky, mark)
    wrong = [f"{_m(off)} off {mark.name}, tolerance {_m(within)}"] if off > within else []
    right = f"plausible within {_m(within)} of {mark.name}"
    if sky.height_mm is not None:
        height, looser = height_off_mm(sky.height_mm, mark), height_tolerance_mm(sky, mark)
        right += f", height within {_m(looser)}"
        if abs(height) > looser:
            where = "above" if height > 0 else "below"
            wrong.append(f"height {_m(abs(height))} {where} that of {mark.name}, tolerance {_m(looser)}")
    return f"not plausible: {'; '.join(wrong)}" if wrong else right


def _m(mm: int) -> str:
    return f"{mm / 1000:.1f} m"


def tolerance_mm(sky: Sky, mark: Mark) -> int:
    """Return how far off a position of this fix may be, in millimetres."""
    single = _single_mm(_hdop_centi(sky))
    return max(WITHIN_MM.get(sky.fix, single), 2 * (sky.deviation_mm or 0)) + mark.uncertainty_mm


def height_tolerance_mm(sky: Sky, mark: Mark) -> int:
    """Return how far off a height of this fix may be, in millimetres."""
    vdop_centi = sky.vdop_centi if sky.vdop_centi is not None else HEIGHT_LOOSER * _hdop_centi(sky)
    known = WITHIN_MM.get(sky.fix)
    within = _single_mm(vdop_centi) if known is None else HEIGHT_LOOSER * known
    return max(within, 2 * (sky.height_deviation_mm or 0)) + mark.uncertainty_mm


def _single_mm(dilution_centi: int) -> int:
    return BESIDE_A_WORKSHOP * RANGE_ERROR_MM * dilution_centi // 100


def _hdop_centi(sky: Sky) -> int:
    return sky.hdop_centi if sky.hdop_centi is not None else SUPPOSED_HDOP_CENTI


def height_off_mm(height_mm: int, mark: Mark) -> int:
    """Return how far an antenna's height above the ellipsoid is above where it should be at the mark, millimetres."""
    return height_mm - int(Decimal(mark.height) * 1000) - mark.antenna_height_mm


def off_mm(latitude_e7: int, longitude_e7: int, mark: Mark) -> int:
    """Return the length of the geodesic from a position (1e-7 degrees) to the mark, in whole millimetres."""
    # Loaded where a position is compared, which is once a unit: most commands need it never.
    from geographiclib.geodesic import Geodesic  # noqa: PLC0415

    here = (latitude_e7 / 10_000_000, longitude_e7 / 10_000_000)
    found = Geodesic.WGS84.Inverse(*here, float(mark.latitude), float(mark.longitude), Geodesic.DISTANCE)
    return round(float(found["s12"]) * 1000)
