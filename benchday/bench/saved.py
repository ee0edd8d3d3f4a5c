"""Settings of a unit, read and written down."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

import rfc8785

from benchday.bench.serving import Serving
from benchday.domain.kinds import SettingsSaved


async def save_settings(at: Serving, when: str) -> Mapping[str, str]:
    """Read the unit's settings and record them with the digest of their canonical bytes."""
    values = dict((await (await at.line()).settings()).values)
    digest = hashlib.sha256(rfc8785.dumps(dict(values))).hexdigest()
    await at.record(at.draft(SettingsSaved(when=when, settings=values, sha256=digest)))
    return values
