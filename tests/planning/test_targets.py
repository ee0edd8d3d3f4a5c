"""Targets and routes, case by case."""

from __future__ import annotations

import pytest

from benchday.domain.checks import Answer, Check
from benchday.domain.releases import Image, Version
from benchday.domain.units import Role
from benchday.planning.routes import Start, route
from benchday.planning.rules import Rules
from benchday.planning.targets import ReasonCode, Target, UnitNow, targets
from tests.planning.shop import image, unit_now

LINE = (
    image("2.4", "2024-03-01"),
    image("2.6", "2024-09-01"),
    image("2.9", "2025-06-01"),
    image("2.10", "2026-05-01", enter_from="2.4"),
)


def target(unit: UnitNow, images: tuple[Image, ...] = LINE, on: str | None = None) -> Target:
    (found,) = targets([unit], images, on)
    return found


def test_the_newest_release_within_the_term() -> None:
    """2.10 is newer than 2.9."""
    found = target(unit_now())

    assert (found.release, found.route, found.reason_code) == ("2.10", ("2.10",), ReasonCode.NEWEST)
    assert found.reason == "2.10 is the newest release for Millrace"
    assert found.findings == ()


def test_a_term_that_ended_before_the_newest() -> None:
    """The newest allowed, and the sentence says why not the newest; the last day itself still counts."""
    found = target(unit_now(support_until="2026-04-30"))

    assert (found.release, found.reason_code) == ("2.9", ReasonCode.TERM_ENDED)
    assert found.reason == "support ended 2026-04-30, before 2.10 was issued (2026-05-01): newest allowed is 2.9"
    assert target(unit_now(support_until="2026-05-01")).release == "2.10"


def test_a_term_that_ended_before_everything() -> None:
    """It stays where it is, and nothing is written."""
    found = target(unit_now(support_until="2020-01-01"))

    assert (found.release, found.route, found.reason_code) == ("2.4", (), ReasonCode.TERM_ENDED)


def test_an_unknown_term_asks() -> None:
    """The newest is aimed at, but a person has to say that the term allows it."""
    found = target(unit_now(support_until=None))

    assert (found.release, found.reason_code) == ("2.10", ReasonCode.TERM_UNKNOWN)
    (finding,) = found.findings
    assert (finding.check, finding.answer) == (Check.SUPPORT_TERM, Answer.ASK)
    assert "2.10 was issued on 2026-05-01: ask the customer or the maker" in finding.text


def test_already_there_is_not_written() -> None:
    """No writes, and the reason is kept."""
    found = target(unit_now(release="2.10"))

    assert (found.release, found.route, found.reason_code) == ("2.10", (), ReasonCode.CURRENT)


def test_a_way_back_is_never_taken() -> None:
    """A unit ahead of what it may have stays there."""
    found = target(unit_now(release="2.11"))

    assert (found.release, found.route, found.reason_code) == ("2.11", (), ReasonCode.AHEAD)
    assert "a way back is not taken" in found.reason


def test_images_of_another_model_or_revision_are_no_targets() -> None:
    """None left: a stop that says what to do."""
    images = (image("2.10", hardware=["C"]), image("2.9", models=["Osier"]))
    found = target(unit_now(), images)

    assert (found.release, found.reason_code) == ("2.4", ReasonCode.NO_IMAGE)
    assert [f.answer for f in found.findings] == [Answer.STOP]
    assert found.reason == (
        "the image store holds no release for Millrace revision B; add one to images.yaml or hold the unit"
    )


def test_a_release_that_is_not_issued_yet_does_not_exist() -> None:
    """Targets are asked for a day."""
    assert target(unit_now(), on="2026-04-30").release == "2.9"
    assert target(unit_now(), on="2026-05-01").release == "2.10"


def test_a_stepping_stone_makes_two_writes() -> None:
    """2.10 demands that a unit below 2.6 passes through it; one above does not."""
    images = (*LINE[:3], image("2.10", "2026-05-01", through=["2.6"]))

    assert target(unit_now(release="2.4"), images).route == ("2.6", "2.10")
    assert (
        target(unit_now(release="2.4"), images).reason
        == "2.10 is the newest release for Millrace; must pass through 2.6 first"
    )
    assert target(unit_now(release="2.6"), images).route == ("2.10",)
    assert target(unit_now(release="2.9"), images).route == ("2.10",)


def test_enter_from_is_respected_by_the_shortest_way() -> None:
    """2.10 may be entered from 2.9 only, 2.9 from 2.6 only."""
    images = (image("2.6"), image("2.9", enter_from="2.6"), image("2.10", enter_from="2.9"))

    assert target(unit_now(release="2.4"), images).route == ("2.6", "2.9", "2.10")
    assert target(unit_now(release="2.6"), images).route == ("2.9", "2.10")


def test_no_way_is_a_stop_that_names_the_nearest_release() -> None:
    """2.10 demands 2.7, which the store does not hold; 2.9 can be reached."""
    images = (*LINE[:3], image("2.10", "2026-05-01", through=["2.7"]))
    found = target(unit_now(), images)

    assert (found.release, found.route, found.reason_code) == ("2.10", (), ReasonCode.NO_ROUTE)
    (finding,) = found.findings
    assert (finding.check, finding.answer, finding.figures["nearest"]) == (Check.ROUTE, Answer.STOP, "2.9")
    assert finding.text == (
        "no way leads from 2.4 to 2.10, which demands 2.7 first: the nearest release it can reach is 2.9; add the "
        "missing image or hold the unit"
    )
    assert finding.clears == "2.7 may be written"


def test_a_stepping_stone_outside_the_term_is_no_way() -> None:
    """Each release of a route has to be allowed, not only the last."""
    images = (image("2.6", "2026-07-01"), image("2.10", "2026-05-01", through=["2.6"]))

    assert target(unit_now(support_until="2026-06-01"), images).reason_code is ReasonCode.NO_ROUTE


def test_from_the_boot_loader_any_release_may_be_entered() -> None:
    """No release runs, so no rule about the one before can hold."""
    images = (image("2.10", enter_from="2.9", through=["2.9"]),)

    assert target(unit_now(release=None, in_boot=True), images).route == ("2.10",)


def test_an_unknown_release_asks_to_be_identified() -> None:
    """The target can be told, the way cannot."""
    found = target(unit_now(release=None))

    assert (found.release, found.route) == ("2.10", ("2.10",))
    assert [(f.check, f.answer) for f in found.findings] == [(Check.ROUTE, Answer.ASK)]


def test_a_trial_release_is_older_than_the_one_it_tries() -> None:
    """2.10-trial1 < 2.10."""
    assert target(unit_now(), (image("2.10-trial1"), image("2.10"))).release == "2.10"


def test_the_newest_is_the_one_issued_last() -> None:
    """2.9 was repaired after 2.10 came out; a unit on 2.10 does not go back for that."""
    images = (image("2.6", "2024-09-01"), image("2.9", "2026-06-01"), image("2.10", "2026-05-01"))

    assert target(unit_now(), images).release == "2.9"
    ahead = target(unit_now(release="2.10"), images)
    assert (ahead.release, ahead.reason_code) == ("2.10", ReasonCode.AHEAD)


def test_what_came_later_lower_down_is_said() -> None:
    """2.11 is above 2.10, but 2.9 was issued later."""
    images = (image("2.9", "2026-08-01"), image("2.10", "2026-05-01"), image("2.11", "2026-07-01"))
    found = target(unit_now(release="2.10"), images)

    assert found.release == "2.11"
    assert found.reason == "2.11 is the newest above 2.10; 2.9 was issued later, but a way back is not taken"


def test_a_trial_is_no_target() -> None:
    """Though it is the newest; a unit that runs one goes on to the release, by the order of versions."""
    images = (*LINE, image("2.11-trial1", "2026-06-01"), image("2.11", "2026-07-01"))

    assert target(unit_now(), images[:-1]).release == "2.10"
    assert target(unit_now(release="2.11-trial1"), images).route == ("2.11",)
    assert target(unit_now(release="2.11-trial1"), images[:-1]).route == ()


@pytest.mark.parametrize(
    ("release", "why"),
    [
        ("2.9-trial7", "the image store does not list it as a trial for Millrace"),
        ("v2.9 beta", "a release is numbers joined by dots, like 2.10"),
    ],
)
def test_a_release_without_a_place_in_the_order_counts_as_not_known(release: str, why: str) -> None:
    """Nobody can say which way leads on from it."""
    found = target(unit_now(release=release))

    assert (found.now, found.release, found.route) == (release, "2.10", ("2.10",))
    assert [(f.check, f.answer) for f in found.findings] == [(Check.ROUTE, Answer.ASK)]
    assert why in found.findings[0].text


def test_a_unit_in_its_boot_loader_that_may_have_nothing_is_a_stop() -> None:
    """It runs no release, and cannot be handed back like that."""
    found = target(unit_now(release=None, in_boot=True, support_until="2020-01-01"))

    assert [(f.check, f.answer) for f in found.findings] == [(Check.SUPPORT_TERM, Answer.STOP)]
    assert found.findings[0].clears == "the support term is renewed"


def test_what_a_write_takes_and_erases() -> None:
    """By the rules of the day, for each write of the route together."""
    images = (*LINE[:3], image("2.10", "2026-05-01", through=["2.6"]))
    rules = Rules(write_us=lambda _, i: 1000 + len(i.release), erases={"Millrace": ("recordings", "release")})
    found, there = targets([unit_now("a", crew=""), unit_now("b", "2.10", crew="")], images, None, rules)

    assert (found.route, found.expected_us, found.erases) == (("2.6", "2.10"), 2007, ("recordings", "release"))
    assert (there.expected_us, there.erases) == (0, ())


def test_an_empty_store_and_no_units() -> None:
    """Nothing to say, and no fault."""
    assert targets([], LINE) == ()
    assert target(unit_now(), ()).reason_code is ReasonCode.NO_IMAGE


def test_equal_versions_with_other_digits_are_one() -> None:
    """2.1 and 2.1.0 are the same place."""
    assert route(Start(Version("2.1.0")), Version("2.1"), [image("2.1")]) == ()


BASE = unit_now("base", "2.6", role=Role.BASE, support_until="2026-04-30")
ROVER = unit_now("rover", "2.6")


def test_a_set_ends_on_the_newest_release_that_all_may_have() -> None:
    """The base's term ended before 2.10, so the rover is kept at 2.9."""
    base, rover = targets([BASE, ROVER], LINE)

    assert (base.release, base.reason_code) == ("2.9", ReasonCode.TERM_ENDED)
    assert (rover.release, rover.route, rover.reason_code) == ("2.9", ("2.9",), ReasonCode.SET)
    assert rover.reason == "kept at 2.9 so that base and rovers work together"


def test_other_crews_and_units_without_a_role_are_not_kept_back() -> None:
    """A set is a crew's receivers."""
    other = unit_now("other", crew="Curlew")
    station = unit_now("station", role=Role.NONE)
    found = targets([BASE, ROVER, other, station], LINE)

    assert [t.release for t in found] == ["2.9", "2.9", "2.10", "2.10"]


def test_a_set_without_a_common_release_is_put_to_a_person() -> None:
    """The rover is past everything that the base may have."""
    base, rover = targets([BASE, unit_now("rover", "2.10")], LINE)

    assert (base.release, rover.release) == ("2.9", "2.10")
    for found in (base, rover):
        assert [(f.check, f.answer) for f in found.findings] == [(Check.SET, Answer.ASK)]
    assert rover.findings[0].text == (
        "base would end on 2.9, which does not work together with the rest of crew Avocet, on 2.10; decide what the "
        "set does"
    )


@pytest.mark.parametrize("away", ["absent", "held"])
def test_a_unit_that_is_away_is_noted_and_does_not_hold_the_set_back(away: str) -> None:
    """The rover goes to the newest; a person is told that the base stays."""
    base = unit_now("base", "2.6", role=Role.BASE, support_until="2026-04-30", away=away)
    _, rover = targets([base, ROVER], LINE)

    assert (rover.release, rover.route) == ("2.10", ("2.10",))
    assert [(f.check, f.answer) for f in rover.findings] == [(Check.SET, Answer.ASK)]
    assert rover.findings[0].text == (
        f"base of crew Avocet is {away} and stays on 2.6 while the set ends on 2.10; decide what the set does"
    )


def test_a_unit_that_is_away_but_on_the_same_release_is_no_trouble() -> None:
    """Nothing to decide."""
    away = unit_now("base", "2.10", role=Role.BASE, away="absent")
    _, rover = targets([away, ROVER], LINE)

    assert rover.findings == ()


def test_a_set_on_its_release_is_not_written() -> None:
    """The rover could go on to 2.10, but stays with the base."""
    _, rover = targets([BASE, unit_now("rover", "2.9")], LINE)

    assert (rover.release, rover.route, rover.reason_code) == ("2.9", (), ReasonCode.SET)
