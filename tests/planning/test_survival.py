"""What must survive a write."""

from __future__ import annotations

from typing import Any

import pytest

from benchday.domain.checks import Answer
from benchday.planning.survival import Change, Known, changes
from tests.planning.shop import playbook

SETTINGS = {"frequency_khz": "461025", "elevation_mask_deg": "10", "paired_base": "WS-1"}
BEFORE = Known(SETTINGS, ("dual", "radio"), "2027-04-30")


def after(**changed: Any) -> Known:
    facts: dict[str, Any] = {"settings": SETTINGS, "options": ("dual", "radio"), "term": "2027-04-30"}
    return Known(**(facts | changed))


def told(found: tuple[Change, ...]) -> list[tuple[str, str]]:
    return [(c.answer.value, c.text) for c in found]


def test_what_is_as_before_is_no_change() -> None:
    """In whatever order the options are told."""
    assert changes(BEFORE, after(options=("radio", "dual")), playbook()) == ()


def test_every_change_is_told_and_the_radio_comes_first() -> None:
    """Settings that changed, went or came; a pairing; options; the term."""
    now = after(settings={"elevation_mask_deg": "15", "new": "1"}, options=("dual",), term="2026-01-31")

    assert told(changes(BEFORE, now, playbook())) == [
        (
            "stop",
            "setting frequency_khz is gone, before 461025 (local rules and the owner's licence say what may be set)",
        ),
        ("stop", "setting elevation_mask_deg is 15, before 10"),
        ("stop", "setting new is 1, before not there"),
        ("stop", "pairing paired_base is gone, before WS-1"),
        ("stop", "installed options are dual, before dual, radio"),
        ("stop", "the support term it tells ends on 2026-01-31; before the write it ended on 2027-04-30"),
    ]


@pytest.mark.parametrize("field", ["elevation_mask_deg", "paired_base", "options", "support term"])
def test_the_playbook_says_what_a_person_may_accept(field: str) -> None:
    """One field asks, all others stop."""
    now = after(settings={"frequency_khz": "1"}, options=(), term=None)
    found = changes(BEFORE, now, playbook(ask_if_changed=[field]))

    assert len(found) == 5
    assert [c.field for c in found if c.answer is Answer.ASK] == [field]
    assert {c.answer for c in found if c.field != field} == {Answer.STOP}


def test_only_what_the_playbook_compares_is_compared_of_the_settings() -> None:
    """Options and term always are."""
    now = after(settings={**SETTINGS, "elevation_mask_deg": "15", "frequency_khz": "1"}, options=())
    found = changes(BEFORE, now, playbook(compare_settings=["frequency_khz"]))

    assert [c.field for c in found] == ["frequency_khz", "options"]


@pytest.mark.parametrize(
    ("before", "now"),
    [
        (Known(None, None, None), after()),
        (Known({}, None, None), after()),
        (Known(None, None, None), Known(None, None, None, by_hand=True)),
    ],
)
def test_what_was_not_known_is_not_compared(before: Known, now: Known) -> None:
    """A unit that was half written told nothing before; a person may leave the term out."""
    assert changes(before, now, playbook()) == ()


def test_a_term_that_the_unit_lost_is_a_change() -> None:
    """It was asked for it, and tells none."""
    assert told(changes(BEFORE, after(term=None), playbook())) == [
        ("stop", "the unit tells no support term any more; before the write it ended on 2027-04-30")
    ]
