"""What a target is: the unit as far as it matters, the release it should get today, and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from benchday.domain.checks import Check, Finding
from benchday.domain.releases import Image
from benchday.domain.units import Role


class ReasonCode(StrEnum):
    """Why a unit's target is what it is. A closed list, on which others rely."""

    NEWEST = "newest"
    TERM_ENDED = "term-ended"
    """The newest issued within the support term, or none was."""
    TERM_UNKNOWN = "term-unknown"
    """The newest, if a person says that the term allows it."""
    SET = "set"
    """What lets the set of its crew work together."""
    CURRENT = "current"
    """It is there already."""
    AHEAD = "ahead"
    """It runs a newer release than any that may be put on it."""
    PINNED = "pinned"
    """A pin demands this release, or that the unit stays where it is."""
    BACK = "back"
    """A way back to an older release, which a pin or a decision demands."""
    NO_IMAGE = "no-image"
    NO_ROUTE = "no-route"


@dataclass(frozen=True, slots=True)
class UnitNow:
    """A unit as far as its target depends on it."""

    serial: str
    model: str
    crew: str
    role: Role
    hardware: str | None = None
    """Hardware revision; None if it is not known yet."""
    release: str | None = None
    """Release that runs now; None if it is not known yet, or in the boot loader."""
    in_boot: bool = False
    """It sits in the boot loader, with no valid release."""
    support_until: str | None = None
    """Last day of the support term (ISO 8601); None if nobody knows it."""
    away: str | None = None
    """Why it does not come along with its set, in words (absent, held, late, wanted back early); None if it does."""
    written_today: bool = False
    """A release was written to it today."""


@dataclass(frozen=True, slots=True)
class Target:
    """What a unit should get today."""

    unit: str
    now: str | None
    release: str | None
    """Release it should end on; None if nothing can be said."""
    route: tuple[str, ...]
    """Releases to write, in order; empty if nothing is to be written or no way leads there."""
    reason_code: ReasonCode
    reason: str
    """One sentence."""
    findings: tuple[Finding, ...] = ()
    images: tuple[Image, ...] = ()
    """The images of the route, in order."""
    back: bool = False
    """The route leads back to an older release."""
    pinned: bool = False
    """A pin in force decided."""
    outside: bool = False
    """It cannot work together with the rest of its set."""
    expected_us: int = 0
    """Expected time of all writes of the route, microseconds; 0 where nobody reckoned it."""
    erases: tuple[str, ...] = ()
    """What each write of the route erases; empty if nothing is to be written."""

    def finding(self, check: Check) -> Finding | None:
        """Return what was found on this question, None if nothing stands against it."""
        return next((f for f in self.findings if f.check is check), None)
