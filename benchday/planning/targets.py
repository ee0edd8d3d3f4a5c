"""Targets: the release each unit should get today, why, and the way there.

The newest release issued within the support term; for the units of one crew what lets its set work together. A way back
is taken only where a pin or a decision demands it and the release allows it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import replace
from functools import partial
from itertools import chain

from benchday.domain.checks import Finding
from benchday.domain.releases import Image
from benchday.domain.sets import SetChoice
from benchday.planning import reasons
from benchday.planning.catalogue import STAYS, Catalogue, Way, trials_of
from benchday.planning.crews import CrewSet
from benchday.planning.outlook import Outlook
from benchday.planning.pins import Pins, put
from benchday.planning.places import Order
from benchday.planning.rules import PLAIN, Rules
from benchday.planning.target import ReasonCode, Target, UnitNow
from benchday.planning.works import WorksTogether

__all__ = ["ReasonCode", "Rules", "Store", "Target", "UnitNow", "of_crew", "targets"]


def targets(
    units: Sequence[UnitNow], images: Sequence[Image], on: str | None = None, rules: Rules = PLAIN
) -> tuple[Target, ...]:
    """Return a target for each unit, in the order of the units.

    Args:
        units: all units of the day, with what is known of them now.
        images: the image store's list.
        on: day for which it is asked (ISO 8601); a release issued after it does not exist yet.
        rules: times, what works together, pins and what was decided about sets.
    """
    store = Store(units, images, on, rules)
    crews: dict[str, list[UnitNow]] = {}
    for unit in units:
        crews.setdefault(unit.crew, []).append(unit)

    found: dict[str, Target] = {}
    for crew, its_units in crews.items():
        for target in of_crew(store, crew, its_units):
            found[target.unit] = target
    return tuple(found[unit.serial] for unit in units)


class Store:
    """The image store's list with the rules of a day, ready to be asked for many units."""

    def __init__(self, units: Iterable[UnitNow], images: Sequence[Image], on: str | None, rules: Rules) -> None:
        """Look at all releases once.

        Args:
            units: whose releases are spoken of.
            images: the image store's list.
            on: day for which it is asked (ISO 8601).
            rules: times, what works together, pins and what was decided about sets.
        """
        self._images = images
        self._on = on
        self.rules = rules
        running = chain((unit.release for unit in units), (pin.release for pin in rules.pins))
        self.order = Order(images, running)
        self.works = WorksTogether(rules.together, self.order)
        self._pins = Pins(rules.pins, on)
        self._catalogues: dict[tuple[str, str | None], Catalogue] = {}
        self._alike: dict[tuple[str, tuple[int, ...]], Catalogue] = {}
        self._places: dict[tuple[str, str | None], int | None] = {}

    def with_choices(self, choices: Mapping[str, SetChoice]) -> Store:
        """Return the same store where other choices were made about sets."""
        other = copy(self)
        other.rules = replace(self.rules, choices=choices)
        return other

    def outlook(self, unit: UnitNow) -> Outlook:
        """Return a unit with the releases on which it can end; a pin has decided already."""
        place = None if unit.in_boot else self._place(unit.model, unit.release)
        outlook = Outlook(unit, self.catalogue(unit.model, unit.hardware), place)
        pin = self._pins.of(unit)
        if pin is not None:
            put(pin, outlook, self.order)
        return outlook

    def catalogue(self, model: str, hardware: str | None) -> Catalogue:
        """Return what suits a model and hardware revision."""
        key = (model, hardware)
        if key not in self._catalogues:
            suiting = tuple(n for n, image in enumerate(self._images) if image.suits(model, hardware))
            alike = (model, suiting)
            if alike not in self._alike:
                chosen = [self._images[n] for n in suiting]
                self._alike[alike] = Catalogue(chosen, self.order, self._on, self._times(model))
            self._catalogues[key] = self._alike[alike]
        return self._catalogues[key]

    def crew(self, crew: str, outlooks: Sequence[Outlook]) -> CrewSet:
        """Return the set of a crew: its receivers, and whatever else has to work with those.

        Args:
            crew: its name; without one there is no set.
            outlooks: of all its units.
        """
        members = self._members(outlooks) if crew else []
        members.sort(key=lambda outlook: outlook.serial)
        return CrewSet(crew, members, self.works, self.rules.choices.get(crew))

    def _members(self, outlooks: Sequence[Outlook]) -> list[Outlook]:
        if not self.rules.together:
            return [o for o in outlooks if o.kind.receiver]
        models = {o.kind.model for o in outlooks if o.kind.receiver}
        return [o for o in outlooks if o.kind.receiver or self.works.named_with(o.kind.model, models)]

    def _times(self, model: str) -> Callable[[Image], int] | None:
        return None if self.rules.write_us is None else partial(self.rules.write_us, model)

    def _place(self, model: str, release: str | None) -> int | None:
        """Return the place of a release; one with a suffix has none unless the store lists it as a trial."""
        key = (model, release)
        if key not in self._places:
            place = self.order.running(release)
            if place is not None and self.order.versions[place].suffix:
                place = place if trials_of(model, self._images, self.order) >> place & 1 else None
            self._places[key] = place
        return self._places[key]


def of_crew(store: Store, crew: str, units: Iterable[UnitNow]) -> Iterator[Target]:
    """Yield the targets of one crew's units, in their order.

    Args:
        store: that knows the releases of these units.
        crew: its name; empty for units without one.
        units: all of the crew.
    """
    outlooks = [store.outlook(unit) for unit in units]
    its_set = store.crew(crew, outlooks)
    about = its_set.findings()
    here = {o.serial for o in its_set.here} if about else set()
    outside = {o.serial for o in its_set.outside}
    for outlook in outlooks:
        serial = outlook.serial
        yield _target(outlook, store.rules, its_set, about if serial in here else (), serial in outside)


def _target(outlook: Outlook, rules: Rules, its_set: CrewSet, about_set: tuple[Finding, ...], outside: bool) -> Target:
    aim = outlook.aim
    end = its_set.ends.get(outlook.serial)
    if end is None or (end == aim.end and aim.way is not None):
        code, reason, end, way = aim.code, reasons.alone(outlook), aim.end, aim.way or STAYS
        found = reasons.findings(outlook, None, aim.way)
    else:
        code = ReasonCode.BACK if outlook.backs >> end & 1 else ReasonCode.SET
        reason, way = reasons.in_set(outlook, end, its_set.with_whom), outlook.way(end) or STAYS
        found = reasons.findings(outlook, end, way)

    unit = outlook.unit
    return Target(
        unit.serial,
        unit.release,
        _release(outlook, end, way),
        way.releases,
        code,
        reason,
        found + about_set,
        way.images,
        code is ReasonCode.BACK,
        outlook.pinned,
        outside,
        way.us,
        rules.erases.get(unit.model, ()) if way.images else (),
    )


def _release(outlook: Outlook, end: int | None, way: Way) -> str | None:
    if way.releases:
        return way.releases[-1]
    if end is None or end == outlook.place:
        return outlook.unit.release
    image = outlook.catalogue.images.get(end)
    return image.release if image is not None else str(outlook.catalogue.order.versions[end])
