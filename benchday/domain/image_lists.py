"""Image lists over time: the newest that a record has seen, and why an older one is refused.

The number of a list only rises (RFC 9124 4.3.1, TUF 5.4.3: no way back to an older list); it is no release.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from benchday.domain.entries import Entry
from benchday.domain.kinds import ImagesAccepted
from benchday.domain.plan import DayPlan
from benchday.domain.plan_says import IMAGES, digest_in


@dataclass(frozen=True, slots=True)
class SeenList:
    """The newest image list of a record."""

    sequence: int = 0
    """Its number; 0 where no list with a number was seen."""
    digests: frozenset[str] = frozenset()
    """SHA-256 of its bytes; more than one where benches differed before their entries met."""
    bench: str = ""
    """Which bench used it last."""

    def newer_of(self, other: SeenList) -> SeenList:
        """Return the one with the higher number; of equal ones, both."""
        if self.sequence != other.sequence:
            return max(self, other, key=lambda seen: seen.sequence)
        return SeenList(self.sequence, self.digests | other.digests, other.bench or self.bench)


NOTHING_SEEN = SeenList()


@dataclass(frozen=True, slots=True)
class OlderList:
    """Why a list is refused."""

    expected: str
    found: str

    def __str__(self) -> str:
        return f"the image list is refused: expected {self.expected}, found {self.found}"


def newest_seen(entries: Iterable[Entry]) -> SeenList:
    """Return the newest image list that entries speak of, whichever bench wrote them."""
    newest = NOTHING_SEEN
    for entry in entries:
        if entry.kind == ImagesAccepted.kind and entry.facts["sequence"] is not None:
            seen = SeenList(entry.facts["sequence"], frozenset({entry.facts["sha256"]}), entry.bench)
            newest = newest.newer_of(seen)
    return newest


def older(sequence: int | None, sha256: str, seen: SeenList) -> OlderList | None:
    """Say why a list is refused beside the newest that was seen; None if it is not.

    Args:
        sequence: its number; None is compared with nothing (a signed list without one is refused for that).
        sha256: of its bytes.
        seen: the newest list of the record.
    """
    if sequence is None or sequence > seen.sequence or (sequence == seen.sequence and sha256 in seen.digests):
        return None
    if sequence < seen.sequence:
        expected = f"at least {seen.sequence}, the newest that this record has seen (bench {seen.bench})"
        return OlderList(expected, f"{sequence}: an older list; fetch the newest one")

    expected = f"{sequence + 1}, or the list with the digest {_short(seen.digests)} that bench {seen.bench} has used"
    return OlderList(expected, f"{sequence} again with the digest {sha256[:12]}: raise the number with every change")


def accepted(plan: DayPlan) -> ImagesAccepted:
    """Return the entry that records which image list is in use, and who signed it."""
    return ImagesAccepted(
        sha256=digest_in(plan, IMAGES),
        sequence=plan.images.sequence,
        expires=plan.images.expires,
        signed_by=list(plan.signatures.signed_by),
        needed=plan.signatures.needed,
    )


def older_in(plan: DayPlan, seen: SeenList) -> OlderList | None:
    """Say why a day's list is refused beside the newest that was seen; None if it is not."""
    return older(plan.images.sequence, digest_in(plan, IMAGES), seen)


def _short(digests: Iterable[str]) -> str:
    return " or ".join(sorted(digest[:12] for digest in digests))
