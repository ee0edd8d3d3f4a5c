"""A permit on an invented unit, and what fits it."""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import replace
from typing import Any

from benchday.domain.permits import Act, ConfirmedBy, Loss, Permit, PermitStanding, Reading, Verb
from benchday.domain.readings import Proof

KEY = bytes(range(32))
NOW_US = 5_000_000
EXPIRES_US = 9_000_000
IMAGE = "1f" * 32
SETTINGS = "2e" * 32


def a_permit(**changed: Any) -> Permit:
    """Make a permit for a write and for putting settings back."""
    permit = Permit(
        unit="QM-10442",
        model="Millrace",
        hardware="C",
        acts=(Act(Verb.WRITE_IMAGE, IMAGE, 4096, "2.10"), Act(Verb.PUT_SETTINGS, SETTINGS, 200)),
        losses=(Loss("0731A.obs", 1200, "3d" * 32), Loss("0732A.obs", 900, None)),
        playbook_digest="ab" * 32,
        operator="Ada",
        confirmed_by=ConfirmedBy.PERSON,
        station="1",
        given_us=1_700_000_000_000_000,
        expires_mono_us=EXPIRES_US,
        nonce="00" * 16,
    )
    return replace(permit, **changed)


def a_standing(**changed: Any) -> PermitStanding:
    """Make the standing of a permit that was just given."""
    fresh = PermitStanding(given=True, voided=None, spent=0, line_stopped=None)
    return replace(fresh, **changed)


def a_reading(**changed: Any) -> Reading:
    """Make the reading that fits the first act."""
    return replace(Reading("QM-10442", "Millrace", "C", Verb.WRITE_IMAGE, IMAGE, "ab" * 32), **changed)


def a_proof(serial: str = "QM-10442", key: bytes = KEY) -> Proof:
    """Make a simulator's answer."""
    nonce = "77" * 16
    return Proof(nonce, hmac.new(key, f"{nonce}:{serial}".encode(), hashlib.sha256).hexdigest())
