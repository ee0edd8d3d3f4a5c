"""One unit with the releases on which it can end, and what it should get if no other unit had to work with it."""

from __future__ import annotations

from typing import NamedTuple

from benchday.domain.checks import Finding
from benchday.domain.units import Role
from benchday.planning.catalogue import STAYS, Catalogue, Way
from benchday.planning.places import above
from benchday.planning.target import ReasonCode, UnitNow
from benchday.planning.works import Kind


class Aim(NamedTuple):
    """What a unit should get alone."""

    code: ReasonCode
    end: int | None
    """Place on which it should end; None if that is not known."""
    way: Way | None
    """The writes; None if no way leads there."""
    reason: str = ""
    """One sentence, where it is known already."""
    stop: Finding | None = None
    """What stands against it."""


class Outlook:
    """One unit with what may be put on it; a member of its crew's set."""

    __slots__ = ("_aim", "allowed", "backs", "catalogue", "kind", "options", "pinned", "place", "serial", "unit")

    def __init__(self, unit: UnitNow, catalogue: Catalogue, place: int | None) -> None:
        """Look at a unit.

        Args:
            unit: with what is known of it.
            catalogue: what suits its model and hardware revision.
            place: of the release that it runs; None in the boot loader, or if the release is not known.
        """
        self.unit = unit
        self.serial = unit.serial
        self.catalogue = catalogue
        self.place = place
        self.kind = Kind(unit.model, unit.role is not Role.NONE)
        self.allowed = allowed = catalogue.allowed(unit.support_until)
        self.options = allowed if place is None else catalogue.ways.reach(place, allowed) | 1 << place
        self.backs = 0
        self.pinned = False
        self._aim: Aim | None = None

    @property
    def known(self) -> bool:
        """What it runs is known, be it only the boot loader."""
        return self.place is not None or self.unit.in_boot

    @property
    def ranking(self) -> object:
        """Units of one catalogue have the same releases issued on the same days."""
        return self.catalogue

    @property
    def aim(self) -> Aim:
        """What it should get alone."""
        if self._aim is None:
            self._aim = _alone(self)
        return self._aim

    @property
    def own(self) -> tuple[int, int, int]:
        """Writes, expected time and place of what it gets alone; place -1: not known."""
        _, end, way, _, _ = self.aim
        place = -1 if end is None else end
        return (0, 0, place) if way is None else (len(way.images), way.us, place)

    def latest(self, places: int) -> int:
        """Return those of the places that were issued on the latest day."""
        return self.catalogue.latest(places)

    def issued_on(self, place: int) -> str:
        """Return the day of issue of a place."""
        return self.catalogue.issued_on(place)

    def cost(self, place: int) -> tuple[int, int]:
        """Return number and expected time in microseconds of the writes that lead to a place."""
        way = self.way(place)
        return (len(way.images), way.us) if way is not None else (0, 0)

    def way(self, goal: int) -> Way | None:
        """Return the writes that lead to a release; from one that is not known the goal's alone, until it is known."""
        if goal == self.place:
            return STAYS
        if self.pinned:
            return self.aim.way
        if self.place is None:
            return self.catalogue.writes((goal,)) if self.allowed >> goal & 1 else None
        if self.backs >> goal & 1:
            return self.catalogue.writes((goal,))
        return self.catalogue.way(self.place, goal, self.allowed)

    def fix(self, aim: Aim) -> None:
        """Let a pin decide: the one option is what it demands, or where the unit is if that cannot be had."""
        self.pinned = True
        self._aim = aim
        end = self.place if aim.way is None else aim.end
        self.options = 0 if end is None else 1 << end

    def stay(self, reason: str) -> None:
        """Let the unit take part with the release that it has, because it does not come along."""
        self._aim = Aim(ReasonCode.SET, self.place, STAYS, reason)
        self.options = 0 if self.place is None else 1 << self.place

    def allow_back(self) -> None:
        """Let the unit go back to older releases, as far as its own release allows that."""
        if self.place is not None and not self.pinned:
            self.backs = self.catalogue.ways.back(self.place) & self.allowed
            self.options |= self.backs


def _alone(outlook: Outlook) -> Aim:
    catalogue, place, allowed = outlook.catalogue, outlook.place, outlook.allowed
    if not catalogue.in_order:
        return Aim(ReasonCode.NO_IMAGE, place, STAYS)
    if not allowed:
        return Aim(ReasonCode.TERM_ENDED, place, STAYS)
    ahead = allowed if place is None else above(place, allowed)
    goal = catalogue.newest(ahead) if ahead else None
    if goal is None or (place is not None and catalogue.issued_on(goal) < catalogue.issued_on(place)):
        newest = catalogue.newest(allowed)
        return Aim(ReasonCode.CURRENT if newest == place else ReasonCode.AHEAD, place, STAYS)
    way = outlook.way(goal)
    if way is None:
        return Aim(ReasonCode.NO_ROUTE, goal, None)
    return Aim(_why(outlook), goal, way)


def _why(outlook: Outlook) -> ReasonCode:
    if outlook.unit.support_until is None:
        return ReasonCode.TERM_UNKNOWN
    return ReasonCode.NEWEST if outlook.allowed == outlook.catalogue.in_order else ReasonCode.TERM_ENDED
