"""What needs a person: questions about sets with what may be chosen, and everything else once."""

from __future__ import annotations

from dataclasses import replace

from benchday.domain.checks import Answer, Check
from benchday.domain.sets import SetChoice
from benchday.domain.units import Role
from benchday.planning.decisions import Decision, SetQuestion, decisions, set_question
from benchday.planning.rules import Rules
from benchday.planning.target import UnitNow
from benchday.planning.targets import targets
from tests.planning.shop import image, unit_now

LINE = (
    image("2.6", "2024-09-01"),
    image("2.9", "2025-06-01", back_to="2.6"),
    image("2.10", "2026-05-01", back_to="2.6"),
)
ON = "2026-11-25"
HELD = unit_now("base", "2.6", role=Role.BASE, away="held")
ROVER = unit_now("rover", "2.6")
WRITTEN = unit_now("written", "2.10", written_today=True)


def asked(*units: UnitNow) -> SetQuestion | None:
    return set_question("Avocet", units, LINE, ON)


def situation(*units: UnitNow) -> str:
    question = asked(*units)
    assert question is not None
    return question.situation


def decided(*units: UnitNow, choice: SetChoice | None = None) -> tuple[Decision, ...]:
    rules = Rules(choices={"Avocet": choice} if choice else {})
    return decisions(units, targets(units, LINE, ON, rules), LINE, ON, rules)


def test_nothing_to_ask() -> None:
    """All are here, or who is away is on what the others end on, or nobody else is here."""
    assert asked(replace(HELD, away=None), ROVER) is None
    assert asked(replace(HELD, release="2.10"), ROVER) is None
    assert asked(HELD) is None
    assert set_question("Curlew", [HELD, ROVER], LINE, ON) is None


def test_the_choices_before_the_first_write() -> None:
    """Wait, keep all on the old release, or leave the set split; nobody has to be taken back."""
    question = asked(HELD, ROVER)

    assert question is not None
    assert question.why == ("base of crew Avocet is held and stays on 2.6 while the set ends on 2.10",)
    assert [(o.choice, dict(o.targets)) for o in question.options] == [
        (SetChoice.WAIT, {"rover": "2.6"}),
        (SetChoice.KEEP, {"rover": "2.6"}),
        (SetChoice.SPLIT, {"rover": "2.10"}),
    ]
    assert [o.text for o in question.options] == [
        "wait for base: nothing of the set is written before this is decided anew",
        "keep all on what works with base: rover on 2.6",
        "go on without base: rover on 2.10; the set is left split",
    ]


def test_taking_back_is_offered_once_something_was_written() -> None:
    """Keeping is not possible any more: the written one would be left outside."""
    question = asked(HELD, ROVER, WRITTEN)

    assert question is not None
    assert [o.choice for o in question.options] == [SetChoice.WAIT, SetChoice.BACK, SetChoice.SPLIT]
    back = question.option(SetChoice.BACK)
    assert back is not None
    assert dict(back.targets) == {"rover": "2.6", "written": "2.6"}
    assert back.text == "take written back, so that all work together: rover and written on 2.6"


def test_taking_back_is_not_offered_where_a_route_forbids_it() -> None:
    """2.5 is older than 2.6, to which 2.10 may return."""
    question = asked(replace(HELD, release="2.5"), ROVER, WRITTEN)

    assert question is not None
    assert [o.choice for o in question.options] == [SetChoice.WAIT, SetChoice.SPLIT]


def test_who_came_newer_is_not_taken_back_as_if_it_had_been_written() -> None:
    """Only what was written today goes back by a decision about the set."""
    question = asked(HELD, ROVER, replace(WRITTEN, written_today=False))

    assert question is not None
    assert question.option(SetChoice.BACK) is None


def test_a_release_that_nobody_knows_cannot_be_kept() -> None:
    """There is nothing to go by."""
    question = asked(replace(HELD, release=None), ROVER)

    assert question is not None
    assert [o.choice for o in question.options] == [SetChoice.WAIT, SetChoice.SPLIT]


def test_units_that_are_here_and_cannot_work_together_are_asked_about_too() -> None:
    """Nobody is away."""
    old = unit_now("old", "2.6", support_until="2025-01-01")
    question = asked(old, replace(ROVER, release="2.9"))

    assert question is not None
    assert question.why == ("old would end on 2.6, which does not work together with the rest of crew Avocet, on 2.10",)
    assert [o.choice for o in question.options] == [SetChoice.WAIT, SetChoice.SPLIT]


def test_equal_situations_have_equal_digests() -> None:
    """The order of units is nothing, nor is what was written since; who is away, why and on what is something."""
    first = situation(HELD, ROVER)

    assert len(first) == 64
    assert situation(ROVER, HELD) == first
    assert situation(HELD, replace(ROVER, release="2.10", written_today=True)) == first
    assert situation(replace(HELD, away="absent"), ROVER) != first
    assert situation(replace(HELD, release="2.9"), ROVER) != first


def test_a_set_is_decided_once_for_all_its_units() -> None:
    """With the question and what may be chosen; decided, nothing is left."""
    (decision,) = decided(HELD, ROVER, unit_now("other", "2.6"))

    assert (decision.check, decision.answer, decision.crew) == (Check.SET, Answer.ASK, "Avocet")
    assert decision.units == ("rover", "other")
    assert decision.clears == "somebody decides what the set of crew Avocet does"
    assert decision.set_question == asked(HELD, ROVER, unit_now("other", "2.6"))
    assert decided(HELD, ROVER, choice=SetChoice.SPLIT) == ()


def test_what_stops_comes_first_and_equal_words_are_one() -> None:
    """Two units without a term, one without an image."""
    units = (
        unit_now("a", crew="", support_until=None),
        unit_now("b", crew="", support_until=None),
        unit_now("c", crew="", model="Weirstone"),
    )

    assert [(d.check, d.answer, d.units, d.crew) for d in decided(*units)] == [
        (Check.IMAGE, Answer.STOP, ("c",), None),
        (Check.SUPPORT_TERM, Answer.ASK, ("a", "b"), None),
    ]
    assert all(d.clears for d in decided(*units))
