"""Pins: what must not change, must have a certain release, or must go back."""

from __future__ import annotations

import json
from typing import Any

import pytest

from benchday.domain.bench import Pin
from benchday.domain.checks import Answer, Check
from benchday.domain.releases import Image
from benchday.domain.units import Role
from benchday.planning.rules import Rules
from benchday.planning.target import ReasonCode, Target, UnitNow
from benchday.planning.targets import targets
from tests.planning.shop import image, unit_now

LINE = (
    image("2.6", "2024-09-01"),
    image("2.9", "2025-06-01"),
    image("2.10", "2026-05-01", back_to="2.9"),
    image("2.11-trial1", "2026-06-01"),
)


def pin(**changed: Any) -> Pin:
    written = {
        "crew": "Avocet",
        "reason": "survey of the north pier",
        "until": "2026-12-31",
        "decided_by": "Ines Okafor",
    }
    written |= changed
    if "unit" in changed:
        del written["crew"]
    return Pin.model_validate_json(json.dumps(written))


def pinned(unit: UnitNow, *pins: Pin, images: tuple[Image, ...] = LINE, on: str | None = "2026-11-25") -> Target:
    (found,) = targets([unit], images, on, Rules(pins=pins))
    return found


def test_a_crew_that_must_not_change_stays() -> None:
    """Nothing is written, and the reason says whose pin it is, why, until when and who decided."""
    found = pinned(unit_now(release="2.6"), pin())

    assert (found.release, found.route, found.reason_code, found.pinned) == ("2.6", (), ReasonCode.PINNED, True)
    assert found.reason == (
        "stays on 2.6, as the pin of crew Avocet (survey of the north pier, until 2026-12-31, Ines Okafor) demands"
    )
    assert found.findings == ()


@pytest.mark.parametrize(("until", "release"), [("2026-11-25", "2.6"), ("2026-11-24", "2.10")])
def test_a_pin_holds_to_the_end_of_its_last_day(until: str, release: str) -> None:
    """What has expired is passed over."""
    assert pinned(unit_now(release="2.6"), pin(until=until)).release == release


def test_a_pinned_release_is_the_target() -> None:
    """Not the newest."""
    found = pinned(unit_now(release="2.6"), pin(release="2.9"))

    assert (found.route, found.reason_code) == (("2.9",), ReasonCode.PINNED)
    assert found.reason.startswith("goes to 2.9, which the pin of crew Avocet (survey of the north pier, until")


def test_the_pin_of_a_unit_goes_before_that_of_its_crew() -> None:
    """Wherever the two stand in the file."""
    assert pinned(unit_now(release="2.6"), pin(), pin(unit="00731", release="2.10")).release == "2.10"
    assert pinned(unit_now(release="2.6"), pin(unit="00731", release="2.9"), pin()).release == "2.9"


def test_a_pin_alone_leads_to_a_trial() -> None:
    """Without one it is no target, though it is the newest."""
    assert pinned(unit_now(release="2.9")).release == "2.10"
    assert pinned(unit_now(release="2.9"), pin(release="2.11-trial1")).route == ("2.11-trial1",)


def test_a_pin_sends_back_where_the_release_allows_it() -> None:
    """One direct write; said as what it is."""
    found = pinned(unit_now(release="2.10"), pin(release="2.9"))

    assert (found.route, found.reason_code, found.back) == (("2.9",), ReasonCode.BACK, True)
    assert found.reason == (
        "goes back to 2.9, which the pin of crew Avocet (survey of the north pier, until 2026-12-31, Ines Okafor) "
        "demands"
    )


@pytest.mark.parametrize(
    ("runs", "wanted", "why"),
    [
        ("2.10", "2.6", "from 2.10 a unit may return to 2.9 at the oldest"),
        ("2.9", "2.6", "from 2.9 no way leads back"),
        ("2.12", "2.9", "the image store does not list 2.12, which it has, so that nobody knows how far back"),
    ],
)
def test_no_way_back_is_a_stop(runs: str, wanted: str, why: str) -> None:
    """And nothing is written."""
    found = pinned(unit_now(release=runs), pin(release=wanted))

    assert (found.route, found.reason_code) == ((), ReasonCode.PINNED)
    assert [(f.check, f.answer) for f in found.findings] == [(Check.ROUTE, Answer.STOP)]
    assert why in found.findings[0].text
    assert found.findings[0].clears == "the pin is changed"


@pytest.mark.parametrize(
    ("changed", "wanted", "check", "text"),
    [
        (
            {"support_until": "2026-04-30"},
            "2.10",
            Check.SUPPORT_TERM,
            "support ended 2026-04-30, before 2.10 was issued",
        ),
        ({}, "2.7", Check.IMAGE, "the image store does not list 2.7 for Millrace"),
        ({}, "3.0", Check.ROUTE, "no way leads from 2.6 to 3.0"),
        ({"release": None, "in_boot": True}, None, Check.ROUTE, "sits in the boot loader"),
    ],
)
def test_what_a_pin_cannot_have_is_a_stop(changed: dict[str, Any], wanted: str, check: Check, text: str) -> None:
    """Beyond the term, not in the store, without a way, or nowhere to stay."""
    images = (*LINE, image("3.0", "2026-07-01", enter_from="2.12"))
    found = pinned(unit_now(**({"release": "2.6"} | changed)), pin(release=wanted), images=images)

    assert [(f.check, f.answer) for f in found.findings] == [(check, Answer.STOP)]
    assert text in found.findings[0].text
    assert found.findings[0].clears
    assert found.route == ()


def test_a_way_back_stays_within_the_term() -> None:
    """2.9 was issued after the term ended; the unit came with 2.10."""
    found = pinned(unit_now(release="2.10", support_until="2025-01-01"), pin(release="2.9"))

    assert [f.check for f in found.findings] == [Check.SUPPORT_TERM]


def test_a_release_of_the_day_after_tomorrow_cannot_be_pinned_yet() -> None:
    """It is not issued."""
    found = pinned(unit_now(release="2.6"), pin(release="2.10"), on="2026-04-30")

    assert "2.10 is issued on 2026-05-01 only" in found.findings[0].text


def test_the_set_goes_by_its_pinned_unit() -> None:
    """The base must not change, so the rover is kept with it."""
    base = unit_now("base", "2.9", role=Role.BASE)
    rover = unit_now("rover", "2.6")
    found = targets([base, rover], LINE, "2026-11-25", Rules(pins=[pin(unit="base")]))

    assert [(t.release, t.reason_code) for t in found] == [("2.9", ReasonCode.PINNED), ("2.9", ReasonCode.SET)]


def test_the_pin_of_a_crew_says_nothing_of_a_controller_that_never_had_the_release() -> None:
    """2.9 is a release of the receivers."""
    images = (*LINE, image("5.1", "2026-01-01", models=["Tiller"]))
    tiller = unit_now("t", "5.0", model="Tiller", role=Role.NONE)
    found = targets([unit_now("r", "2.6"), tiller], images, None, Rules(pins=[pin(release="2.9")]))

    assert [(t.release, t.pinned) for t in found] == [("2.9", True), ("5.1", False)]
