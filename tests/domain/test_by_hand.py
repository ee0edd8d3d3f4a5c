"""A playbook's section on work by hand: what it may say, and what is a mistake."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from benchday.devices.drivers import by_hand_questions as ask_for
from benchday.domain.by_hand import NUMBERS, TEXTS, Evidence, HandCapability, HandWorks
from benchday.domain.items import WantedKind
from benchday.domain.seams import CAPABILITIES

ADAPTER: TypeAdapter[dict[HandCapability, Any]] = TypeAdapter(HandWorks)


def test_a_person_stands_in_for_all_but_the_proof() -> None:
    assert {c.value for c in HandCapability} == set(CAPABILITIES) - {"prove"}


def test_its_evidence_is_what_the_driver_asks() -> None:
    for question in (ask_for.IDENTIFY, ask_for.POWER, ask_for.RECORDINGS, ask_for.SETTINGS, ask_for.SELF_TEST):
        capability = HandCapability(question.capability)
        kinds = {w.name: w.kind for w in question.wanted}
        assert set(TEXTS.get(capability, ())) <= {n for n, k in kinds.items() if k is WantedKind.TEXT}
        assert set(NUMBERS.get(capability, ())) == {n for n, k in kinds.items() if k is WantedKind.INTEGER}


@pytest.mark.parametrize(
    ("section", "expected"),
    [
        ({"identify": {"wanted": {"colour": {}}}}, "evidence of identify: hardware, model, options, release, serial"),
        ({"restart": {"wanted": {"up": {}}}}, "evidence of restart: none, only text and photo"),
        ({"identify": {"wanted": {"serial": {"lowest": 1}}}}, "a pattern for a text"),
        ({"power": {"wanted": {"charge_percent": {"pattern": "x"}}}}, "lowest and highest for a whole number"),
        ({"power": {"wanted": {"charge_percent": {"lowest": 9, "highest": 8}}}}, "lowest not above highest"),
        ({"identify": {"wanted": {"serial": {"pattern": "(["}}}}, "a regular expression"),
        ({"prove": {}}, "identify"),
        ({"identify": {"photo": "perhaps"}}, "offered"),
    ],
)
def test_mistakes_say_what_is_possible(section: dict[str, Any], expected: str) -> None:
    with pytest.raises(ValidationError, match=expected.replace("(", r"\(")):
        ADAPTER.validate_python(section, strict=False)


def test_plain_work() -> None:
    read = ADAPTER.validate_python({"identify": {"wanted": {"serial": {"pattern": "T[0-9]"}}}}, strict=False)
    assert read[HandCapability.IDENTIFY].wanted == {"serial": Evidence(pattern="T[0-9]")}
