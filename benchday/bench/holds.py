"""Why a step ends otherwise than done: the unit is held, sent off, or looked at anew."""

from __future__ import annotations

from collections.abc import Iterable

from benchday.domain.checks import Finding
from benchday.domain.errors import BenchdayError


class Hold(BenchdayError):
    """The unit is set aside."""

    def __init__(self, code: str, reason: str, lifts: str) -> None:
        self.code, self.reason, self.lifts = code, reason, lifts
        super().__init__(reason)


class SendOff(BenchdayError):
    """The unit leaves its station and waits again, or is not served any more today."""

    def __init__(self, why: str, *, charge_percent: int | None = None, for_today: bool = False) -> None:
        self.why, self.charge_percent, self.for_today = why, charge_percent, for_today
        super().__init__(why)


def lifts_of(findings: Iterable[Finding]) -> str:
    """Join what would clear each finding, in words that follow "held until"."""
    return ", and ".join(dict.fromkeys(f.clears for f in findings if f.clears)) or "a person decides anew"


INTERRUPTED = "interrupted"
"""Code of a hold whose unit may be half written: it stays on its station until a person decides."""


def interrupted(what: str) -> Hold:
    """Return the hold for a write that was cut short."""
    return Hold(
        INTERRUPTED,
        f"the write was cut short: {what}. Leave the unit powered and connected; do not switch it off",
        "an operator decides to identify it anew; a further write needs a new permit",
    )
