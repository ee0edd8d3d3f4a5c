"""Entries about permits and acts."""

from __future__ import annotations

from typing import Any

from benchday.domain.facts import Facts


class PermitGiven(Facts, kind="permit_given"):
    """An operator confirmed named acts on one unit."""

    permit: dict[str, Any]
    id: str
    shown: str
    """The text that was shown."""


class PermitVoided(Facts, kind="permit_voided"):
    """A permit holds no longer."""

    id: str
    reason: str


class ActSpent(Facts, kind="act_spent"):
    """The intent of an effect on the unit, durable before it begins. Journals alone write this."""

    permit: str
    act: int
    verb: str
    digest: str
    bytes: int
    release: str | None
    simulated_proof: bool


class ActRefused(Facts, kind="act_refused"):
    """A permit did not allow an act. Journals alone write this."""

    permit: str
    reason: str


class ActEnded(Facts, kind="act_ended"):
    """How the effect ended, as far as known: whole, refused, cut, unknown."""

    permit: str
    act: int
    outcome: str
    bytes: int
    sha256: str
