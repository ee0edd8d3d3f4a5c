"""What needs a person before or during the day, as far as targets say: questions, and what may be chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from benchday.domain.checks import Answer, Check
from benchday.domain.releases import Image
from benchday.domain.sets import SetChoice
from benchday.planning.rules import PLAIN, Rules
from benchday.planning.target import Target, UnitNow


@dataclass(frozen=True, slots=True)
class SetOption:
    """One thing that a person can choose for a crew's set."""

    choice: SetChoice
    text: str
    """One sentence: what would happen."""
    targets: Mapping[str, str | None]
    """Serial -> release on which each unit of the set would end; None if nothing can be said."""


@dataclass(frozen=True, slots=True)
class SetQuestion:
    """What a person has to decide about a crew's set."""

    crew: str
    why: tuple[str, ...]
    """One sentence for each unit that does not come along, or cannot work with the others."""
    situation: str
    """Digest of what is decided about (64 hex digits): an equal situation need not be asked twice."""
    options: tuple[SetOption, ...]

    def option(self, choice: SetChoice) -> SetOption | None:
        """Return what this choice would do, None if it is not offered."""
        return next((o for o in self.options if o.choice is choice), None)


@dataclass(frozen=True, slots=True)
class Decision:
    """One thing that needs a person, with all units it speaks of."""

    check: Check
    answer: Answer
    """Ask or stop."""
    units: tuple[str, ...]
    """Serials, in the order of the units."""
    crew: str | None
    """The crew, where it is about its set; else None."""
    question: str
    """One sentence."""
    clears: str
    """What would make it clear; follows "held until"."""
    set_question: SetQuestion | None = field(default=None)
    """What may be chosen, where it is about a set."""


def set_question(
    crew: str, units: Sequence[UnitNow], images: Sequence[Image], on: str | None = None, rules: Rules = PLAIN
) -> SetQuestion | None:
    """Return what a person has to decide about this crew's set, None if there is nothing to decide.

    Args:
        crew: whose set it is.
        units: of the day; those of other crews are passed over.
        images: the image store's list.
        on: day for which it is asked (ISO 8601).
        rules: as for targets; a choice made for this crew is passed over.
    """
    return None


def decisions(
    units: Sequence[UnitNow],
    found: Sequence[Target],
    images: Sequence[Image],
    on: str | None = None,
    rules: Rules = PLAIN,
) -> tuple[Decision, ...]:
    """Return what needs a person, each thing once: what stops first, then what asks, in the order of the units.

    Args:
        units: all units of the day.
        found: their targets, in the same order.
        images: the image store's list.
        on: day for which it is asked (ISO 8601).
        rules: by which the targets were worked out.
    """
    return ()
