"""What is known of a driver without opening it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

BUILT_IN = "benchday"
"""Where the drivers come from that are no plug-ins."""


@dataclass(frozen=True, slots=True)
class DriverKnown:
    """One driver that a playbook may name."""

    name: str
    source: str
    """``benchday``, or the distribution that brings it."""
    version: str | None
    """Of that distribution; None where it does not say."""
    entry_point: str | None
    """``module:attribute``; None for a driver that is built in."""
    capabilities: tuple[str, ...] | None = None
    """In the order of the seams; None where its maker does not say what it makes."""
    settings: Mapping[str, object] | None = None
    """Name -> a value of the right kind; None where its maker does not say what it takes."""
    problem: str | None = None
    """Why it cannot be used here, and what to do about that."""
