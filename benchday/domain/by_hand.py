"""What a playbook says of work by hand: for each capability its own instruction, and the evidence that it wants."""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from benchday.domain.words import Expected, FileModel


class HandCapability(StrEnum):
    """What a person can stand in for, by its name in the seams."""

    IDENTIFY = "identify"
    POWER = "power"
    RECORDINGS = "recordings"
    FETCH = "fetch"
    SETTINGS = "settings"
    PUT_SETTINGS = "put settings"
    WRITE = "write"
    RESTART = "restart"
    SELF_TEST = "self-test"
    POSITION = "position"


class Photo(StrEnum):
    """Whether a photo of what was read is wanted."""

    NONE = "none"
    OFFERED = "offered"
    NEEDED = "needed"


TEXTS: Mapping[HandCapability, frozenset[str]] = {
    HandCapability.IDENTIFY: frozenset({"serial", "model", "hardware", "release", "options"}),
    HandCapability.POWER: frozenset({"pack"}),
    HandCapability.SETTINGS: frozenset({"settings"}),
    HandCapability.SELF_TEST: frozenset({"words"}),
    HandCapability.POSITION: frozenset({"base"}),
}
"""Which evidence is a text, so that a pattern can be asked of it."""

NUMBERS: Mapping[HandCapability, frozenset[str]] = {
    HandCapability.POWER: frozenset({"charge_percent", "full_mwh", "temperature_c"}),
    HandCapability.RECORDINGS: frozenset({"count"}),
    HandCapability.POSITION: frozenset({"satellites"}),
}
"""Which evidence is a whole number, so that a range can be asked of it."""


def _regular(text: str) -> str:
    try:
        re.compile(text)
    except re.error as error:
        raise Expected("a regular expression", found=f"{text!r}: {error}") from None
    return text


Pattern = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_regular)]


class Evidence(FileModel):
    """In which form one piece of evidence is usable."""

    pattern: Pattern | None = None
    """Regular expression that a text must match in full."""
    lowest: int | None = None
    highest: int | None = None
    """Of a whole number: the plausible range, in the unit in which it is asked."""
    needed: bool | None = None
    """It may not be left out; none: as it usually is."""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.lowest is not None and self.highest is not None and self.lowest > self.highest:
            raise Expected("lowest not above highest", found=f"{self.lowest} and {self.highest}")
        return self


class HandWork(FileModel):
    """What a person does where the driver cannot, and what shows that it was done."""

    text: Annotated[str, Field(min_length=1, max_length=1000)] | None = None
    """The instruction; none: a general one."""
    wanted: dict[str, Evidence] = Field(default_factory=dict)
    """Name of a piece of evidence -> in which form it is usable."""
    photo: Photo = Photo.NONE
    """A photo of the display or the label, attached by the path of its file."""


def check_work(work: dict[HandCapability, HandWork]) -> dict[HandCapability, HandWork]:
    """Return the section if each piece of evidence is one that is asked, in a form that it can have.

    Raises:
        Expected: naming what is possible.
    """
    for capability, its in work.items():
        texts, numbers = TEXTS.get(capability, frozenset()), NUMBERS.get(capability, frozenset())
        for name, evidence in its.wanted.items():
            at = (capability.value, "wanted", name)
            if name not in texts | numbers:
                possible = ", ".join(sorted(texts | numbers)) or "none, only text and photo"
                raise Expected(f"evidence of {capability.value}: {possible}", found=name, at=at)
            if name in numbers and evidence.pattern is not None:
                raise Expected("lowest and highest for a whole number", found="a pattern", at=(*at, "pattern"))
            if name in texts and (evidence.lowest is not None or evidence.highest is not None):
                raise Expected("a pattern for a text", found="lowest or highest", at=at)
    return work


HandWorks = Annotated[dict[HandCapability, HandWork], AfterValidator(check_work)]
"""The section as it stands in a playbook."""
