"""Stepping stones that lead round in a circle are found where a rule leads upwards."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.inputs.conftest import Spoil, mistakes_of
from tests.inputs.test_day import place_of

LIST = "images/images.yaml"


@pytest.mark.parametrize("key", ["through", "enter_from"])
def test_a_circle_names_its_way(day: Path, spoil: Spoil, key: str) -> None:
    """2.10 wants 2.9 passed through, and 2.9 wants 2.10: no unit could ever get to either."""
    spoil(LIST, 'enter_from: "2.6"\n    through: ["2.6"]\n    back_to: "2.9"', 'through: ["2.9"]\n    back_to: "2.9"')
    rule = 'through: ["2.10"]' if key == "through" else 'enter_from: "2.10"'
    spoil(LIST, 'enter_from: "2.6"\n    through: ["2.6"]\n    back_to: "2.6"', f'{rule}\n    back_to: "2.6"')
    (mistake,) = mistakes_of(day)
    assert str(mistake) == (
        f"{place_of(day, LIST, chr(34) + '2.10' + chr(34))}: expected a release older than 2.9 itself, "
        "found 2.10: a circle, 2.9 before 2.10 before 2.9"
    )


def test_a_way_back_is_no_circle(day: Path, spoil: Spoil) -> None:
    spoil(LIST, 'back_to: "2.6"', 'back_to: "2.10"')
    assert [m.found for m in mistakes_of(day)] == ["2.10"]


def test_a_rule_upwards_without_a_circle(day: Path, spoil: Spoil) -> None:
    spoil(LIST, 'enter_from: "2.6"\n    through: ["2.6"]\n    back_to: "2.6"', 'through: ["2.10"]')
    spoil(LIST, 'through: ["2.6"]\n    back_to: "2.9"', 'back_to: "2.9"')
    assert [m.found for m in mistakes_of(day)] == ["2.10"]
