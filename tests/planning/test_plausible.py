"""Plausible at the known mark: published geodesics, tolerances, words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from pydantic import ValidationError

from benchday.domain.mark import Mark
from benchday.domain.readings import Sky
from benchday.planning.plausible import height_off_mm, height_tolerance_mm, off_mm, plausibility, tolerance_mm


def mark(latitude: str, longitude: str, uncertainty_mm: int = 20) -> Mark:
    """Put a mark somewhere."""
    return Mark(
        name="the mark", latitude=latitude, longitude=longitude, height="89.0", frame="WGS 84", epoch="2026.0",
        antenna_height_mm=0, source="a test", uncertainty_mm=uncertainty_mm,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("here", "there", "metres"),
    [
        # GeographicLib for JavaScript, README: Wellington to Salamanca.
        ((-41.32, 174.81), ("40.96", "-5.50"), 19_959_679.267),
        # GeographicLib for C++, example for Geodesic: JFK to LHR; length computed with geographiclib 2.1.
        ((40.6, -73.8), ("51.6", "-0.5"), 5_551_759.400),
    ],
)
def test_published_geodesics(here: tuple[float, float], there: tuple[str, str], metres: float) -> None:
    latitude_e7, longitude_e7 = (round(x * 10_000_000) for x in here)
    assert off_mm(latitude_e7, longitude_e7, mark(*there)) == pytest.approx(metres * 1000, abs=2)


def test_no_shorter_way_than_the_shortest() -> None:
    # GeographicLib for JavaScript, README: 20,000 km from Perth at 225 degrees end here; past the middle of the far
    # side another way is shorter.
    assert 19_900_000_000 < off_mm(-320_600_000, 1_157_400_000, mark("32.11195529", "-63.95925278")) < 20_000_000_000


def test_one_degree_of_the_equator_and_of_the_meridian() -> None:
    # WGS 84: a = 6,378,137 m, so a degree of the equator is 111,319.491 m; the first of the meridian 110,574.389 m.
    assert off_mm(0, 10_000_000, mark("0", "0")) == 111_319_491
    assert off_mm(10_000_000, 0, mark("0", "0")) == pytest.approx(110_574_389, abs=1)


@pytest.mark.parametrize(
    ("sky", "expected_mm"),
    [
        (Sky("single", None, 9, 0, 0, hdop_centi=80), 12_480 + 20),
        (Sky("single", None, 9, 0, 0, hdop_centi=150), 23_400 + 20),
        (Sky("single", None, 9, 0, 0), 31_200 + 20),
        (Sky("single", None, 9, 0, 0, hdop_centi=80, deviation_mm=10_000), 20_000 + 20),
        (Sky("float", None, 9, 0, 0, hdop_centi=80), 2_000 + 20),
        (Sky("fixed", None, 9, 0, 0, hdop_centi=80), 200 + 20),
        (Sky("fixed", None, 9, 0, 0, hdop_centi=80, deviation_mm=9), 200 + 20),
    ],
)
def test_tolerances(sky: Sky, expected_mm: int) -> None:
    assert tolerance_mm(sky, mark("0", "0")) == expected_mm


@pytest.mark.parametrize(
    ("sky", "expected_mm"),
    [
        # Twice 7.8 m times the vertical dilution; where that is not told, twice the horizontal one.
        (Sky("single", None, 9, 0, 0, hdop_centi=80, vdop_centi=110), 17_160 + 20),
        (Sky("single", None, 9, 0, 0, hdop_centi=80), 24_960 + 20),
        (Sky("single", None, 9, 0, 0), 62_400 + 20),
        (Sky("single", None, 9, 0, 0, vdop_centi=110, height_deviation_mm=10_000), 20_000 + 20),
        (Sky("float", None, 9, 0, 0), 4_000 + 20),
        (Sky("fixed", None, 9, 0, 0, hdop_centi=80, vdop_centi=110), 400 + 20),
        (Sky("fixed", None, 9, 0, 0, height_deviation_mm=300), 600 + 20),
    ],
)
def test_heights_are_given_more(sky: Sky, expected_mm: int) -> None:
    assert height_tolerance_mm(sky, mark("0", "0")) == expected_mm


def test_heights_are_those_of_antennas_above_the_ellipsoid() -> None:
    """The mark is at 89.0 m, the antennas 1.5 m above it."""
    at = mark("0", "0").model_copy(update={"antenna_height_mm": 1500})
    assert height_off_mm(90_500, at) == 0
    assert height_off_mm(90_000, at) == -500
    assert height_off_mm(-500, at.model_copy(update={"height": "-2.0125"})) == 12


def test_words_on_heights() -> None:
    at = mark("0", "0", 0)
    fixed = Sky("fixed", None, 9, 0, 0, height_mm=89_390)
    assert plausibility(fixed, at) == "plausible within 0.2 m of the mark, height within 0.4 m"
    high = "height 0.5 m above that of the mark, tolerance 0.4 m"
    assert plausibility(replace(fixed, height_mm=89_500), at) == f"not plausible: {high}"
    low = plausibility(replace(fixed, height_mm=57_800, longitude_e7=100_000), at)
    assert low == (
        "not plausible: 1113.2 m off the mark, tolerance 0.2 m; height 31.2 m below that of the mark, tolerance 0.4 m"
    )


def test_words() -> None:
    at = mark("0", "0", 0)
    assert plausibility(Sky("single", None, 9, 500, 0, hdop_centi=80), at) == "plausible within 12.5 m of the mark"
    far = plausibility(Sky("fixed", None, 9, 0, 100_000), at)
    assert far == "not plausible: 1113.2 m off the mark, tolerance 0.2 m"
    assert plausibility(Sky("none", None, 0, 0, 0), at) is None
    assert plausibility(Sky("single", None, 9), at) is None
    for told in ("accura", "calibrat"):
        assert told not in far


@pytest.mark.parametrize(("latitude", "longitude"), [("91", "0"), ("0", "181"), ("12 N", "0"), ("", "0"), ("1,5", "0")])
def test_no_mark_off_the_earth(latitude: str, longitude: str) -> None:
    with pytest.raises(ValidationError):
        mark(latitude, longitude)
