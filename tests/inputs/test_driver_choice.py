"""The driver that a playbook names: a mistake where it cannot be used here, or is set wrongly."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchday.domain.drivers import DriverKnown
from benchday.inputs.day import read_day
from benchday.inputs.driver_choice import BUILT_IN_DRIVERS
from tests.inputs.conftest import Spoil
from tests.inputs.test_day import own_playbooks, place_of

WEB = DriverKnown("web", "benchday", "1.0", None, settings={"answer_s": 10.0, "user": "", "image_s": 3, "slow": False})


def told(day: Path, known: DriverKnown) -> list[str]:
    """Return the mistakes of a day in words."""
    return [str(mistake) for mistake in read_day(day, drivers=(known,)).mistakes]


def with_settings(day: Path, spoil: Spoil, line: str) -> None:
    """Give the driver of one playbook a setting."""
    own_playbooks(day, spoil)
    spoil("own/osier.yaml", "  name: web ", f"  settings:\n    {line}\n  name: web ")


@pytest.mark.parametrize(
    ("line", "column", "words"),
    [
        (
            "anser_s: 3",
            5,
            "one of the settings answer_s, image_s, slow, user for the driver web, found anser_s (did you",
        ),
        ("image_s: true", 14, "something like the number 3 for image_s, found true"),
        ("user: 7", 11, "text for user, found the number 7"),
        ("slow: secret", 11, "something like false for slow, found text"),
    ],
)
def test_a_wrong_setting_is_told(day: Path, spoil: Spoil, line: str, column: int, words: str) -> None:
    """With its place and the nearest right word, before anything is opened; a text is never shown."""
    with_settings(day, spoil, line)
    (only,) = told(day, WEB)
    assert only.startswith(f"own/osier.yaml:13:{column}: expected {words}")


@pytest.mark.parametrize("line", ["answer_s: 3", 'user: "ada"', "slow: true"])
def test_a_right_setting_is_none(day: Path, spoil: Spoil, line: str) -> None:
    """A whole number does for a part of one."""
    with_settings(day, spoil, line)
    assert told(day, WEB) == []


def test_what_nobody_knows_is_not_judged(day: Path, spoil: Spoil) -> None:
    """A plug-in that does not say what it takes is asked when it is opened."""
    with_settings(day, spoil, "anything: 3")
    assert told(day, DriverKnown("web", "heron-driver", "1.0", "heron:make")) == []


def test_a_driver_that_cannot_be_used_is_a_mistake(day: Path, spoil: Spoil) -> None:
    """With the reason, where the playbook names it."""
    own_playbooks(day, spoil)
    broken = DriverKnown("web", "benchday", "1.0", None, problem='smp not installed: pip install "benchday[smp]"')
    (only,) = told(day, broken)
    assert only == (
        f"{place_of(day, 'own/osier.yaml', 'web ')}: expected a driver that can be used here, "
        'found web, which cannot: smp not installed: pip install "benchday[smp]"'
    )


def test_the_built_in_names_are_the_drivers() -> None:
    """Files and devices do not import one another, so the names stand twice."""
    from benchday.devices.drivers import DRIVERS  # noqa: PLC0415  # the other side of the arrow

    assert tuple(DRIVERS) == BUILT_IN_DRIVERS
