"""Renewals: which support terms, once renewed, would bring most units and crews to the newest release."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchday.domain.releases import Image
from benchday.planning.rules import PLAIN, Rules
from benchday.planning.target import UnitNow


@dataclass(frozen=True, slots=True)
class Renewal:
    """What renewing the support terms of one crew, or of one unit without a crew, would bring."""

    name: str
    """The crew, or the serial of a unit without one."""
    renew: tuple[str, ...]
    """Serials of the units whose term must be renewed."""
    units: int
    """How many units would end on the newest release of their model that do not now."""
    crews: int
    """1 if all units of the crew would then end on the newest release and now do not, else 0."""
    otherwise: Mapping[str, str | None]
    """Serial -> release on which each of those units ends without it."""
    then: Mapping[str, str | None]
    """Serial -> release on which each of those units ends with it."""


def renewals(
    units: Sequence[UnitNow], images: Sequence[Image], on: str | None = None, rules: Rules = PLAIN
) -> tuple[Renewal, ...]:
    """Return what renewed support terms would bring, most units first, then most crews, then by name.

    Args:
        units: all units of the day.
        images: the image store's list.
        on: day for which it is asked (ISO 8601).
        rules: as for targets.
    """
    return ()
