"""Entries about what befell a unit, and about the end of the attempts to recover it."""

from __future__ import annotations

from benchday.domain.facts import Facts


class TroubleMet(Facts, kind="trouble_met"):
    """Something befell a unit; what followed stands in the table of the page about recovery."""

    stage: str
    """Where in its service it was."""
    happening: str
    """What it was: a name of that table."""
    said: str
    """What was heard or found."""
    follows: str
    """looked at anew, or held."""
    customer: str
    """What the customer is told of it."""


class AttemptsEnded(Facts, kind="attempts_ended"):
    """A person ended the attempts to recover a unit: it goes back to its owner as it is."""

    reason: str
    account: list[str]
    """What the customer is told, line by line: what was done, its state, what is preserved, what happens next."""


class TakenAsItIs(Facts, kind="taken_as_it_is"):
    """A named person took a unit away that was not recovered; it stays held in this record."""

    to_ref: str | None
    accessories: list[str]
    missing: list[str]
