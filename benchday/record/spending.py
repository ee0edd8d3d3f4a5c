"""Spending an act: the decision, written down as an entry, and the act handed out once that entry is committed.

Every journal decides here; what differs is only how the entry is kept in between.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from benchday.domain.entries import Draft
from benchday.domain.errors import AlreadyRecorded, PermitRefused
from benchday.domain.permits import Permit, Reading, SpentAct, mint_spent_act, refusal
from benchday.record.standing import ACT_REFUSED, ACT_SPENT, Standings


@dataclass(frozen=True, slots=True)
class Ruling:
    """Whether an act may be spent; its entry must be committed before anybody acts on it."""

    permit: Permit
    number: int
    """Which act of the permit, counted from 0."""
    refused: str | None
    """Why not, if not."""

    def handed_out(self) -> SpentAct:
        """Hand out the act; called after the commit and never before.

        Raises:
            PermitRefused: the ruling is a refusal.
        """
        if self.refused is not None:
            raise PermitRefused(
                f"unit {self.permit.unit} may not be changed: {self.refused}; check the unit again and confirm anew"
            )

        return mint_spent_act(self.permit, self.number)


Write = Callable[[Sequence[Draft], Sequence[str]], object]
"""Writes drafts and claims names in the transaction at hand; raises AlreadyRecorded if a name was claimed before."""


def rule(
    permit: Permit, reading: Reading, standings: Standings, write: Write, *, mono_us: int, simulator_key: bytes | None
) -> Ruling:
    """Decide on the next act of a permit and write the decision down; the caller commits it."""
    number = standings.of(permit).spent
    refused = refusal(permit, standings.of(permit), reading, mono_us=mono_us, simulator_key=simulator_key)
    if refused is None:
        proved = _proved(reading, simulator_key)
        try:
            write((_intent(permit, number, simulated_proof=proved),), (f"act:{permit.id}:{number}",))
        except AlreadyRecorded as error:
            # The last line of defence: whatever the fold believes, the database gives a name only once.
            refused = str(error)

    if refused is not None:
        write((_draft(ACT_REFUSED, permit, {"permit": permit.id, "reason": refused}),), ())
    return Ruling(permit, number, refused)


def _intent(permit: Permit, number: int, *, simulated_proof: bool) -> Draft:
    act = permit.acts[number]
    facts = {
        "permit": permit.id,
        "act": number,
        "verb": act.verb.value,
        "digest": act.digest,
        "bytes": act.bytes,
        "release": act.release,
        "simulated_proof": simulated_proof,
    }
    return _draft(ACT_SPENT, permit, facts)


def _draft(kind: str, permit: Permit, facts: dict[str, object]) -> Draft:
    return Draft(kind, facts, unit=permit.unit, station=permit.station, operator=permit.operator)


def _proved(reading: Reading, simulator_key: bytes | None) -> bool:
    return (
        simulator_key is not None and reading.proof is not None and reading.proof.holds(simulator_key, reading.serial)
    )
