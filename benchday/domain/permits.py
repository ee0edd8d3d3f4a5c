"""Permits and acts: the only way to a write.

An operator confirms named acts on one unit; that is a permit. A write capability takes a ``SpentAct``, and only a
journal can hand one out, after the intent is on disk. This stops accidents, not hostile code: Python that
wants to reach past a type can.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import rfc8785

from benchday.domain.errors import PermitRefused
from benchday.domain.readings import Proof


class Verb(StrEnum):
    """What an act does to the unit."""

    WRITE_IMAGE = "write image"
    PUT_SETTINGS = "put settings"
    RESTART = "restart"


class ConfirmedBy(StrEnum):
    """Who or what answered the confirmation. Everything but a person needs the unit's proof that it is simulated."""

    PERSON = "person"
    PIPE = "pipe"
    SIMULATED = "simulated"


@dataclass(frozen=True, slots=True)
class Act:
    """One thing that may be done to the unit, once."""

    verb: Verb
    digest: str
    """SHA-256 (64 hex digits) of the image, or of the canonical bytes of the settings."""
    bytes: int
    """Size of what is written."""
    release: str | None = None
    """The release that the image holds, for people."""


@dataclass(frozen=True, slots=True)
class Loss:
    """A recording that the write erases."""

    name: str
    bytes: int
    sha256: str | None
    """Digest of the whole copy in the archive; None if the owner let it go: lost for good."""


@dataclass(frozen=True, slots=True)
class Permit:
    """An operator's confirmation of named acts on one unit."""

    unit: str
    """Serial as the unit reported it."""
    model: str
    hardware: str
    acts: tuple[Act, ...]
    """In the order in which they must be spent."""
    losses: tuple[Loss, ...]
    playbook_digest: str
    operator: str
    confirmed_by: ConfirmedBy
    station: str
    given_us: int
    """Day time, microseconds."""
    expires_mono_us: int
    """By the monotonic clock of the program that gave it; a restart voids it."""
    nonce: str
    """32 hex digits, so that equal confirmations are different permits."""

    def __post_init__(self) -> None:
        if not self.acts:
            raise ValueError("a permit names at least one act")

    @property
    def id(self) -> str:
        """SHA-256 over the canonical bytes (RFC 8785), 64 hex digits."""
        return hashlib.sha256(rfc8785.dumps(self.as_facts())).hexdigest()

    def as_facts(self) -> dict[str, Any]:
        """Return the permit as it stands in its entry."""
        return {
            "unit": self.unit,
            "model": self.model,
            "hardware": self.hardware,
            "acts": [
                {"verb": a.verb.value, "digest": a.digest, "bytes": a.bytes, "release": a.release} for a in self.acts
            ],
            "losses": [{"name": x.name, "bytes": x.bytes, "sha256": x.sha256} for x in self.losses],
            "playbook_digest": self.playbook_digest,
            "operator": self.operator,
            "confirmed_by": self.confirmed_by.value,
            "station": self.station,
            "given_us": self.given_us,
            "expires_mono_us": self.expires_mono_us,
            "nonce": self.nonce,
        }


@dataclass(frozen=True, slots=True)
class Reading:
    """What the unit and the bench say now, right before an act is spent."""

    serial: str
    model: str
    hardware: str
    verb: Verb
    digest: str
    """Of the bytes held in memory, about to be sent."""
    playbook_digest: str
    proof: Proof | None = None
    """The unit's answer on the same open link that it is a simulator; None if it was not asked."""


@dataclass(frozen=True, slots=True)
class PermitStanding:
    """What the journal knows of a permit when an act of it is to be spent."""

    given: bool
    """It was recorded, by the program that runs now, as it stands."""
    voided: str | None
    """Why it was voided, if it was."""
    spent: int
    """How many of its acts have been spent."""
    line_stopped: str | None
    """Why the line for this model and release is stopped, if it is."""
    open_act: str | None = None
    """Which other act on this unit has begun and not ended, if any."""


def refusal(
    permit: Permit, standing: PermitStanding, reading: Reading, *, mono_us: int, simulator_key: bytes | None
) -> str | None:
    """Say why this permit does not allow this act on this unit now; None if it does."""
    if not standing.given:
        return "the permit was not given by the program that runs now"
    if standing.voided is not None:
        return f"the permit was voided: {standing.voided}"
    if standing.spent >= len(permit.acts):
        return "every act of the permit has been spent"
    if mono_us > permit.expires_mono_us:
        return "the permit has expired"
    if standing.line_stopped is not None:
        return f"the line is stopped: {standing.line_stopped}"
    if standing.open_act is not None:
        return f"an act on this unit has begun and not ended: {standing.open_act}"

    return _binding_refusal(permit, standing, reading) or _proof_refusal(permit, reading, simulator_key)


def _binding_refusal(permit: Permit, standing: PermitStanding, reading: Reading) -> str | None:
    act = permit.acts[standing.spent]
    bound = (
        ("serial", permit.unit, reading.serial),
        ("model", permit.model, reading.model),
        ("hardware revision", permit.hardware, reading.hardware),
        ("act", act.verb.value, reading.verb.value),
        ("digest", act.digest, reading.digest),
        ("playbook", permit.playbook_digest, reading.playbook_digest),
    )
    for name, permitted, now in bound:
        if permitted != now:
            return f"the {name} is {now or 'not told'}, the permit is for {permitted}"

    return None


def _proof_refusal(permit: Permit, reading: Reading, simulator_key: bytes | None) -> str | None:
    if permit.confirmed_by is ConfirmedBy.PERSON:
        return None
    if simulator_key is None or reading.proof is None or not reading.proof.holds(simulator_key, reading.serial):
        return "no person confirmed it, and the unit has not proved that it is a simulator"

    return None


class SpentAct:
    """One act of a permit, spent in the journal. Write capabilities take this and nothing else."""

    __slots__ = ("_used", "act", "number", "permit_id", "unit")

    def __init__(self, mint: object, permit: Permit, number: int) -> None:
        if mint is not _MINT:
            raise PermitRefused("only a journal hands out a spent act: confirm, then spend the permit")

        self.permit_id = permit.id
        self.unit = permit.unit
        self.number = number
        self.act = permit.acts[number]
        self._used = False

    def use(self, verb: Verb, digest: str) -> None:
        """Use the act up; a write capability calls this before its first byte.

        Raises:
            PermitRefused: it was used before, or is for something else.
        """
        if self._used:
            raise PermitRefused(f"this act on unit {self.unit} was used before; a new permit is needed")
        self._used = True
        if self.act.verb is not verb or self.act.digest != digest:
            raise PermitRefused(f"the act spent on unit {self.unit} is for another {self.act.verb.value}")

    def covers_restart(self) -> None:
        """Check that a restart belongs to what was permitted: to a write begun under this act, or an act of its own.

        Raises:
            PermitRefused: it does not.
        """
        if self.act.verb is Verb.WRITE_IMAGE and self._used:
            return
        self.use(Verb.RESTART, self.act.digest)


_MINT = object()


def use_act(act: object, verb: Verb, digest: str) -> SpentAct:
    """Use up the act that a write capability was handed, whatever it was handed.

    Raises:
        PermitRefused: it is no spent act, was used before, or is for something else.
    """
    spent = _spent(act, verb)
    spent.use(verb, digest)
    return spent


def restart_covered(act: object) -> SpentAct:
    """Check that a restart belongs to the act that a restart capability was handed, whatever it was handed.

    Raises:
        PermitRefused: it is no spent act, or does not cover a restart.
    """
    spent = _spent(act, Verb.RESTART)
    spent.covers_restart()
    return spent


def _spent(act: object, verb: Verb) -> SpentAct:
    if not isinstance(act, SpentAct):
        raise PermitRefused(f"to {verb.value} takes a spent act of a permit, not {type(act).__name__}")

    return act


def mint_spent_act(permit: Permit, number: int) -> SpentAct:
    """Make a spent act. Called by journals alone, after the commit (a test on the syntax tree watches)."""
    return SpentAct(_MINT, permit, number)
