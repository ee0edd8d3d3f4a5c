"""Which releases work together in one set: equal ones, and what the playbooks name beside each other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from benchday.domain.playbook import Together
from benchday.planning.places import Order


class Kind(NamedTuple):
    """What a unit is, as far as it has to work with others."""

    model: str
    receiver: bool
    """It works as base, rover or either."""


class WorksTogether:
    """Whether two units work together, each on its release.

    A playbook's ``works_together`` that names both models decides. Where none does, two receivers must have the same
    release. Units of one model work together on the same release in any case, and on different ones only where a group
    names that model alone, or twice. Two models that are no receivers and that nobody names beside each other have
    nothing to do with each other.
    """

    def __init__(self, together: Sequence[Together], order: Order) -> None:
        """Look at all groups once.

        Args:
            together: of all playbooks.
            order: of all releases that are spoken of.
        """
        self._pairs: dict[tuple[str, str], list[tuple[int, int]]] = {}
        for group in together:
            ranges = [(works.model, order.within(works)) for works in group.together]
            several = len({model for model, _ in ranges}) > 1
            for number, (one, ones) in enumerate(ranges):
                for place, (other, others) in enumerate(ranges):
                    # Beside another model a range says nothing of two units of its own.
                    if number != place or not several:
                        self._pairs.setdefault((one, other), []).append((ones, others))
        self._every = (1 << len(order)) - 1
        self._partners: dict[tuple[Kind, Kind, int], int] = {}
        self._plain: dict[frozenset[Kind], bool] = {}

    def named_with(self, model: str, others: Iterable[str]) -> bool:
        """Tell whether a playbook says with what this model works together, for one of the others."""
        return any((model, other) in self._pairs for other in others)

    def partners(self, one: Kind, other: Kind, place: int) -> int:
        """Return the releases of the other that work together with this release of the one."""
        key = (one, other, place)
        if key not in self._partners:
            self._partners[key] = self._found(one, other, place)
        return self._partners[key]

    def equal(self, one: Kind, other: Kind) -> bool:
        """Tell whether these two work together on the same release, and on that alone."""
        named = (one.model, other.model) in self._pairs
        return not named and (one.model == other.model or (one.receiver and other.receiver))

    def plain(self, kinds: frozenset[Kind]) -> bool:
        """Tell whether all units of these kinds have to have the same release, whatever it is."""
        if kinds not in self._plain:
            self._plain[kinds] = all(self.equal(one, other) for one in kinds for other in kinds)
        return self._plain[kinds]

    def _found(self, one: Kind, other: Kind, place: int) -> int:
        if self.equal(one, other):
            return 1 << place
        if self._strangers(one, other):
            return self._every
        found = 1 << place if one.model == other.model else 0
        for ones, others in self._pairs.get((one.model, other.model), ()):
            if ones >> place & 1:
                found |= others
        return found

    def _strangers(self, one: Kind, other: Kind) -> bool:
        """Tell whether these have nothing to do with each other: no receivers, and named beside each other nowhere."""
        named = (one.model, other.model) in self._pairs
        return not named and one.model != other.model and not (one.receiver or other.receiver)


def all_work(works: WorksTogether, kinds: Sequence[Kind], places: Sequence[int | None]) -> tuple[int, int] | None:
    """Return the first two that do not work together, None if all do; who has no place is passed over."""
    for second, end in enumerate(places):
        for first in range(second):
            other = places[first]
            if end is None or other is None:
                continue
            if not works.partners(kinds[first], kinds[second], other) >> end & 1:
                return first, second
    return None


def works_with(works: WorksTogether, kind: Kind, place: int, kinds: Sequence[Kind], places: Sequence[int]) -> bool:
    """Tell whether a release of one unit works together with all of these."""
    ends = zip(kinds, places, strict=True)
    return all(works.partners(other, kind, end) >> place & 1 for other, end in ends)
