"""Matching sets, case by case: what works together, who does not come along, what was decided."""

from __future__ import annotations

import json

import pytest

from benchday.domain.checks import Answer, Check
from benchday.domain.playbook import Together
from benchday.domain.sets import SetChoice
from benchday.domain.units import Role
from benchday.planning.rules import Rules
from benchday.planning.target import ReasonCode, Target, UnitNow
from benchday.planning.targets import targets
from tests.planning.shop import image, unit_now

LINE = (
    image("2.6", "2024-09-01"),
    image("2.9", "2025-06-01", back_to="2.6"),
    image("2.10", "2026-05-01", back_to="2.6"),
    image("5.0", "2024-08-01", models=["Tiller"]),
    image("5.1", "2026-04-01", models=["Tiller"]),
)
ENDED = "2026-03-31"


def together(*works: tuple[str, str, str | None]) -> Together:
    written = [{"model": model, "oldest": oldest, "newest": newest} for model, oldest, newest in works]
    return Together.model_validate_json(json.dumps({"together": written}))


def of_set(*units: UnitNow, choice: SetChoice | None = None, groups: tuple[Together, ...] = ()) -> list[Target]:
    chosen = {"Avocet": choice} if choice is not None else {}
    return list(targets(units, LINE, "2026-11-25", Rules(choices=chosen, together=groups)))


def set_findings(target: Target) -> list[tuple[Answer, str]]:
    return [(f.answer, f.text) for f in target.findings if f.check is Check.SET]


BASE = unit_now("base", "2.6", role=Role.BASE)
ROVER = unit_now("rover", "2.6")
CONTROLLER = unit_now("c", "5.0", model="Tiller", role=Role.NONE)
OLD_FIELD = together(("Millrace", "2.0", "2.9"), ("Tiller", "5.0", "5.0"))
NEW_FIELD = together(("Millrace", "2.10", None), ("Tiller", "5.1", None))


def test_the_controller_comes_along() -> None:
    """2.10 needs 5.1 on the controller; its term ended before that, so all are kept on 2.9."""
    kept = unit_now("c", "5.0", model="Tiller", role=Role.NONE, support_until=ENDED)
    found = of_set(BASE, ROVER, kept, groups=(OLD_FIELD, NEW_FIELD))

    assert [t.release for t in found] == ["2.9", "2.9", "5.0"]
    assert found[0].reason == "kept at 2.9 so that the set works together"
    assert found[0].reason_code is ReasonCode.SET
    assert [t.release for t in of_set(BASE, ROVER, CONTROLLER, groups=(OLD_FIELD, NEW_FIELD))] == [
        "2.10",
        "2.10",
        "5.1",
    ]


def test_a_controller_that_no_playbook_names_does_not_matter() -> None:
    """It is no member of the set."""
    kept = unit_now("c", "5.0", model="Tiller", role=Role.NONE, support_until=ENDED)

    assert [t.release for t in of_set(BASE, kept)] == ["2.10", "5.0"]


def test_releases_of_one_model_may_work_together() -> None:
    """A playbook says so of 2.9 and 2.10: nobody is kept back."""
    base = unit_now("base", "2.6", role=Role.BASE, support_until=ENDED)
    both = together(("Millrace", "2.9", "2.10"))

    assert [t.release for t in of_set(base, ROVER, groups=(both,))] == ["2.9", "2.10"]
    assert [t.release for t in of_set(base, ROVER)] == ["2.9", "2.9"]


def test_the_one_that_cannot_come_along_is_outside() -> None:
    """It keeps its own target, the others go on together, and a person is asked once for all."""
    old = unit_now("old", "2.6", support_until="2025-01-01")
    found = of_set(old, unit_now("b", "2.9"), unit_now("c", "2.9"))

    assert [(t.release, t.outside) for t in found] == [("2.6", True), ("2.10", False), ("2.10", False)]
    text = (
        "old would end on 2.6, which does not work together with the rest of crew Avocet, on 2.10; decide what the set "
        "does"
    )
    assert [set_findings(t) for t in found] == [[(Answer.ASK, text)]] * 3
    assert found[0].findings[0].clears == "somebody decides what the set of crew Avocet does"


def test_the_missing_stone_is_said_to_a_set_too() -> None:
    """The set goes as far as it can, and a person decides whether to fetch the image first."""
    images = (*LINE[:2], image("2.10", "2026-05-01", through=["2.7"]))
    base, rover = targets([BASE, ROVER], images)

    assert (base.release, rover.release) == ("2.9", "2.9")
    assert base.reason == "2.9 is the newest to which a way leads, and none leads to 2.10"
    assert [(f.check, f.answer, f.clears) for f in base.findings] == [(Check.ROUTE, Answer.ASK, "2.7 may be written")]


HELD = unit_now("base", "2.6", role=Role.BASE, away="held")


def test_split_is_clear_and_says_that_it_was_decided() -> None:
    """The rover goes on."""
    _, rover = of_set(HELD, ROVER, choice=SetChoice.SPLIT)

    assert rover.route == ("2.10",)
    text = (
        "base of crew Avocet is held and stays on 2.6 while the set ends on 2.10; the set is left split, as was decided"
    )
    assert set_findings(rover) == [(Answer.CLEAR, text)]


def test_wait_is_clear_and_says_that_the_set_waits() -> None:
    """The bench sees to it that nothing is written."""
    _, rover = of_set(HELD, ROVER, choice=SetChoice.WAIT)

    assert [(answer, text.rpartition("; ")[2]) for answer, text in set_findings(rover)] == [
        (Answer.CLEAR, "the set waits, as was decided")
    ]


def test_keep_ends_on_what_works_with_the_one_that_stays() -> None:
    """The rover is not written at all."""
    base, rover = of_set(HELD, ROVER, choice=SetChoice.KEEP)

    assert (rover.release, rover.route, rover.reason_code) == ("2.6", (), ReasonCode.SET)
    assert rover.reason == "kept at 2.6 so that it works together with base, which is held"
    assert base.reason == "held: stays on 2.6, and the set ends on what works with it"
    assert set_findings(rover) == []


def test_keep_takes_nobody_back() -> None:
    """The rover that was written already is left outside, and that is asked."""
    _, rover = of_set(HELD, unit_now("rover", "2.10", written_today=True), choice=SetChoice.KEEP)

    assert rover.release == "2.10"
    assert [answer for answer, _ in set_findings(rover)] == [Answer.ASK]


def test_back_takes_back_where_the_release_allows_it() -> None:
    """One direct write, said as decided."""
    _, rover = of_set(HELD, unit_now("rover", "2.10", written_today=True), choice=SetChoice.BACK)

    assert (rover.route, rover.reason_code, rover.back) == (("2.6",), ReasonCode.BACK, True)
    assert rover.reason == "goes back to 2.6 so that it works together with base, which is held, as was decided"


@pytest.mark.parametrize("choice", [None, SetChoice.KEEP, SetChoice.BACK])
def test_nobody_can_go_by_a_release_that_is_not_known(choice: SetChoice | None) -> None:
    """The others go on, and a person is asked."""
    _, rover = of_set(unit_now("base", None, role=Role.BASE, away="late"), ROVER, choice=choice)

    assert rover.release == "2.10"
    text = (
        "base of crew Avocet is late and stays on a release that is not known while the set ends on 2.10; decide what "
        "the set does"
    )
    assert set_findings(rover) == [(Answer.ASK, text)]


def test_who_is_away_would_come_along_with_the_set() -> None:
    """The absent rover could have 2.10, but the set ends on 2.9 because of the base."""
    base = unit_now("base", "2.9", role=Role.BASE, support_until=ENDED)
    absent = unit_now("absent", "2.6", away="absent")
    found = of_set(base, absent)

    assert (found[1].release, found[1].reason) == ("2.9", "kept at 2.9 so that base and rovers work together")


def test_same_day_is_less_to_write() -> None:
    """Of two releases of one day the set takes the one that needs fewer writes, and says so."""
    images = (image("2.8", "2026-01-01"), image("2.9", "2026-01-01", through=["2.8"]))
    base, _ = targets([BASE, ROVER], images)

    assert base.route == ("2.8",)
    assert base.reason == "2.8 was issued on the same day as 2.9 and is less to write"
