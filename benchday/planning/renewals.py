"""Renewals: which support terms, once renewed, would bring most units and crews to the newest release."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from benchday.domain.releases import Image, Version
from benchday.planning.rules import PLAIN, Rules
from benchday.planning.target import Target, UnitNow
from benchday.planning.targets import Store, of_crew
from benchday.planning.wording import counted, listed

FOR_EVER = "9999-12-31"
"""A term that ends after every day of issue."""


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
    """Serial -> release on which a unit ends without it, of each unit for which that changes."""
    then: Mapping[str, str | None]
    """Serial -> release on which each of those units ends with it."""

    @property
    def text(self) -> str:
        """Say in one sentence what it would bring."""
        brings = f"{counted(self.units, 'unit')} of {self.name}" if self.units else "no unit"
        whole = ", and with that the whole crew" if self.crews else ""
        return f"renewing the support term of {listed(self.renew)} brings {brings} to the newest release{whole}"


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
    store = Store(units, images, on, rules)
    found = [r for name, its_units in _groups(units) if (r := _renewal(store, name, its_units)) is not None]
    return tuple(sorted(found, key=lambda renewal: (-renewal.units, -renewal.crews, renewal.name)))


def _groups(units: Iterable[UnitNow]) -> Iterator[tuple[str, list[UnitNow]]]:
    crews: dict[str, list[UnitNow]] = {}
    for unit in units:
        if unit.crew:
            crews.setdefault(unit.crew, []).append(unit)
        else:
            yield unit.serial, [unit]
    yield from crews.items()


def _renewal(store: Store, name: str, units: Sequence[UnitNow]) -> Renewal | None:
    """Return what renewing all terms that hold these units back would bring, None if that is nothing."""
    lifted = [replace(unit, support_until=FOR_EVER) if _held_back(store, unit) else unit for unit in units]
    if lifted == list(units):
        return None
    crew = units[0].crew
    before = list(of_crew(store, crew, units))
    after = list(of_crew(store, crew, lifted))
    served = [(u, b, a) for u, b, a in zip(units, before, after, strict=True) if u.away is None and _newest(store, u)]
    gained = sum(_on_newest(store, u, a) and not _on_newest(store, u, b) for u, b, a in served)
    if not gained:
        return None

    whole_before = all(_on_newest(store, u, b) for u, b, _ in served)
    whole_after = all(_on_newest(store, u, a) for u, _, a in served)
    changed = [(u, b, a) for u, b, a in served if b.release != a.release]
    return Renewal(
        name=name,
        renew=tuple(u.serial for u, _, a in served if _beyond(u, a)),
        units=gained,
        crews=int(bool(crew) and whole_after and not whole_before),
        otherwise={u.serial: b.release for u, b, _ in changed},
        then={u.serial: a.release for u, _, a in changed},
    )


def _held_back(store: Store, unit: UnitNow) -> bool:
    catalogue = store.catalogue(unit.model, unit.hardware)
    return unit.support_until is not None and catalogue.allowed(unit.support_until) != catalogue.in_order


def _newest(store: Store, unit: UnitNow) -> Image | None:
    catalogue = store.catalogue(unit.model, unit.hardware)
    return catalogue.images[catalogue.newest(catalogue.in_order)] if catalogue.in_order else None


def _on_newest(store: Store, unit: UnitNow, target: Target) -> bool:
    newest = _newest(store, unit)
    if newest is None:
        return False
    if target.images:
        return target.images[-1] is newest
    place = store.order.running(unit.release)
    return place is not None and not unit.in_boot and store.order.versions[place] == Version(newest.release)


def _beyond(unit: UnitNow, target: Target) -> bool:
    """Tell whether a write of this target needs a longer term than the unit has."""
    return unit.support_until is not None and any(image.issued > unit.support_until for image in target.images)
