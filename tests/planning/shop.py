"""An invented shop for the tests: a playbook, images, units."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from benchday.domain.playbook import Playbook
from benchday.domain.releases import Image
from benchday.domain.units import Role
from benchday.planning.targets import UnitNow

POINTS: dict[str, tuple[float, float, float]] = {
    "connect": (1, 2, 4),
    "identify": (0.2, 0.5, 1),
    "check": (0.2, 0.5, 1),
    "preserve": (1, 2, 6),
    "confirm": (0.5, 1, 3),
    "write": (13, 17, 26),
    "restart": (1, 2, 3),
    "verify": (1, 2, 4),
    "last look": (1, 2, 5),
}


def playbook(**changed: Any) -> Playbook:
    """Return a serial receiver's playbook; parts of ``power`` may be given by name."""
    power = {"draw_mw": 5000, "full_mwh": 30_000, "charge_mw": 12_000, "pack_swap": True, "external": True}
    power |= {name: changed.pop(name) for name in tuple(changed) if name in power}
    written = {
        "playbook": "millrace",
        "title": "Base and rover receiver",
        "maker": "Quillfen",
        "models": ["Millrace"],
        "roles": ["base", "rover", "either"],
        "connector": "round",
        "driver": {"name": "console"},
        "power": power,
        "checks": [],
        "service": [
            {"step": name, "minutes": dict(zip(("shortest", "usual", "longest"), points, strict=True))}
            for name, points in POINTS.items()
        ],
    }
    return Playbook.model_validate_json(json.dumps(written | changed))


def held(release: str) -> bytes:
    """Return the bytes of an image."""
    return f"image of {release}".encode() * 20


def image(release: str, issued: str = "2025-01-01", **changed: Any) -> Image:
    """Return an image's line of the list."""
    written = {
        "file": f"millrace-{release}.fen",
        "release": release,
        "issued": issued,
        "trial": "-" in release,
        "sha256": hashlib.sha256(held(release)).hexdigest(),
        "bytes": len(held(release)),
        "models": ["Millrace"],
        "source": "the maker's page",
        "approved_by": "Ines Okafor",
    }
    return Image.model_validate_json(json.dumps(written | changed))


def unit_now(serial: str = "00731", release: str | None = "2.4", **changed: Any) -> UnitNow:
    """Return a rover of the crew Avocet, under support for long."""
    facts: dict[str, Any] = {"hardware": "B", "support_until": "2030-12-31", "crew": "Avocet", "role": Role.ROVER}
    return UnitNow(serial=serial, model=changed.pop("model", "Millrace"), release=release, **(facts | changed))
