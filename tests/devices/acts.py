"""Acts and images for tests of drivers. No journal stands behind these acts: the units are simulated."""

from __future__ import annotations

import hashlib
import zlib
from random import Random

from benchday.domain.permits import Act, ConfirmedBy, Permit, SpentAct, Verb, mint_spent_act


def permit_for(serial: str, verb: Verb, digest: str, size: int) -> Permit:
    """Make a permit for one act."""
    return Permit(
        unit=serial,
        model="Millrace",
        hardware="B",
        acts=(Act(verb, digest, size),),
        losses=(),
        playbook_digest="0" * 64,
        operator="mill",
        confirmed_by=ConfirmedBy.PERSON,
        station="one",
        given_us=0,
        expires_mono_us=1,
        nonce="0" * 32,
    )


def spent(serial: str, verb: Verb, digest: str, size: int) -> SpentAct:
    """Make a spent act."""
    return mint_spent_act(permit_for(serial, verb, digest, size), 0)


def write_act(serial: str, image: bytes) -> SpentAct:
    """Make the act that permits writing this image."""
    return spent(serial, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest(), len(image))


def image_for(model: str, hardware: str, version: str = "9.9", size: int = 40_000) -> bytes:
    """Build an image as the page of dialogues describes it."""
    payload = Random(7).randbytes(size)
    header = (
        f"FENIMAGE 1\nmodel: {model}\nversion: {version}\nhardware: {hardware}\nenter-from: 0.1\n"
        f"bytes: {size}\ncrc32: {zlib.crc32(payload):08x}\n\n"
    )
    return header.encode() + payload
