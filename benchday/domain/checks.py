"""Findings: what a check answers, with the figures it rests on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Answer(StrEnum):
    """What a check says of a unit before a write."""

    CLEAR = "clear"
    ASK = "ask"
    """A person must decide, with a reason."""
    STOP = "stop"


class Check(StrEnum):
    """The questions asked."""

    IDENTITY = "identity"
    MODEL = "model"
    IMAGE = "image"
    POWER = "power"
    RECORDINGS = "recordings"
    SUPPORT_TERM = "support term"
    ROUTE = "route"
    ROOM = "room"
    CABLE = "cable"
    BENCH_PC = "bench pc"
    CLOSING = "closing"
    SET = "set"
    FIRST_OFF = "first off"
    SIGN_IN = "sign-in"


@dataclass(frozen=True, slots=True)
class Finding:
    """One answer."""

    check: Check
    answer: Answer
    text: str
    """One sentence for a person."""
    figures: Mapping[str, int | str] = field(default_factory=dict)
    """What it rests on; integer values have their unit as a suffix of the name."""
    clears: str = ""
    """What would make it clear, in words that follow "held until"; empty for an answer that is clear."""

    def as_facts(self) -> dict[str, object]:
        """Return the finding as it stands in an entry."""
        return {
            "check": self.check.value,
            "answer": self.answer.value,
            "text": self.text,
            "figures": dict(self.figures),
            "clears": self.clears,
        }


def worst(findings: Iterable[Finding]) -> Answer:
    """Return stop if any finding stops, else ask if any asks, else clear."""
    answers = {f.answer for f in findings}
    for answer in (Answer.STOP, Answer.ASK):
        if answer in answers:
            return answer

    return Answer.CLEAR
