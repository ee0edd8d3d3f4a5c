"""The matching set: on which releases the units of one crew should end so that they work together. Exact.

Chosen is, in this order: the fewest units outside the set; the latest days of issue for the rest, compared from the
oldest up; the fewest writes; the least expected time of writes; the smallest releases by serial.

A unit's own best is a bound: were every unit free to take it, no choice could be better. Where those bests do not work
together one unit is tried on each of its releases, best first, and the others keep what works with that.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

from benchday.planning.places import each
from benchday.planning.works import Kind, WorksTogether, all_work


class Member(Protocol):
    """A unit of a set with its options."""

    @property
    def kind(self) -> Kind:
        """What has to work together."""
        ...

    @property
    def options(self) -> int:
        """Set of the places on which it may end; not empty."""
        ...

    @property
    def ranking(self) -> object:
        """Members of equal ranking have the same releases issued on the same days."""
        ...

    @property
    def own(self) -> tuple[int, int, int]:
        """Writes, expected time in microseconds and place of where it ends if it is outside; place -1: none."""
        ...

    def latest(self, places: int) -> int:
        """Return those of the places that were issued on the latest day."""
        ...

    def issued_on(self, place: int) -> str:
        """Return the day of issue of a place."""
        ...

    def cost(self, place: int) -> tuple[int, int]:
        """Return number and expected time in microseconds of the writes that lead to a place."""
        ...


def ends_of(members: Sequence[Member], works: WorksTogether) -> tuple[int | None, ...]:
    """Return the place on which each unit ends, None for one outside the set.

    Args:
        members: sorted by serial, at least one.
        works: which releases work together.
    """
    kinds = [m.kind for m in members]
    domains = [m.options for m in members]
    if works.plain(frozenset(kinds)):
        common = _all_of(domains)
        if not common:
            return _alike(members)
        latest = members[0].latest(common)
        if not latest & (latest - 1) and all(m.ranking is members[0].ranking for m in members):
            return (latest.bit_length() - 1,) * len(members)
        domains = [common] * len(members)

    search = _Search(members, kinds, works)
    for outside in range(len(members)):
        search.explore(domains, outside)
        if search.best is not None:
            break
        domains = [m.options for m in members]

    assert search.best is not None  # noqa: S101 - one unit alone is always a set
    return search.best.places


class _Plan:
    """An end for each unit, and what speaks for it."""

    def __init__(self, members: Sequence[Member], places: Sequence[int | None]) -> None:
        self._members = members
        self.places = tuple(places)
        inside = zip(members, places, strict=True)
        self.dates = tuple(sorted(m.issued_on(place) for m, place in inside if place is not None))
        self._cost: tuple[int, int, tuple[int, ...]] | None = None

    @property
    def cost(self) -> tuple[int, int, tuple[int, ...]]:
        """Writes, their expected time, and the ends by serial: less is better."""
        if self._cost is None:
            ends = list(zip(self._members, self.places, strict=True))
            costs = [m.own if place is None else (*m.cost(place), place) for m, place in ends]
            self._cost = (sum(c[0] for c in costs), sum(c[1] for c in costs), tuple(c[2] for c in costs))
        return self._cost

    def beats(self, other: _Plan) -> bool:
        """Tell whether this is better than another with as many units outside."""
        return self.dates > other.dates if self.dates != other.dates else self.cost < other.cost


class _Search:
    """Branch and bound over the ends of one set's units."""

    def __init__(self, members: Sequence[Member], kinds: Sequence[Kind], works: WorksTogether) -> None:
        self._members = members
        self._kinds = kinds
        self._works = works
        self.best: _Plan | None = None

    def explore(self, domains: list[int], spare: int) -> None:
        """Look for what is better than the best so far.

        Args:
            domains: what each unit may still end on; 0: it is outside.
            spare: how many more must be put outside; with fewer there is no way.
        """
        own = [_first(m, domain) if domain else None for m, domain in zip(self._members, domains, strict=True)]
        if not self._promises(own, spare):
            return
        clash = all_work(self._works, self._kinds, own)
        if clash is None:
            self.best = _Plan(self._members, own)
            return

        chosen = min(clash, key=lambda number: domains[number].bit_count())
        for place in _best_first(self._members[chosen], domains[chosen]):
            own[chosen] = place
            if not self._promises(own, spare):
                break
            self._explore_with(domains, chosen, place, spare)
        if spare:
            self.explore([0 if n == chosen else domain for n, domain in enumerate(domains)], spare - 1)

    def _explore_with(self, domains: Sequence[int], chosen: int, place: int, spare: int) -> None:
        """Go on with this unit inside the set, on this place."""
        kind = self._kinds[chosen]
        narrowed = []
        for number, domain in enumerate(domains):
            if number == chosen:
                narrowed.append(1 << place)
                continue
            kept = domain and domain & self._works.partners(kind, self._kinds[number], place)
            spare -= bool(domain and not kept)
            if spare < 0:
                return
            narrowed.append(kept)
        self.explore(narrowed, spare)

    def _promises(self, own: Sequence[int | None], spare: int) -> bool:
        """Tell whether there may be something better if no unit can do better than this."""
        if self.best is None:
            return True
        bound = _Plan(self._members, own)
        if not spare:
            return bound.beats(self.best)
        # Those that will be put outside are the oldest, at best.
        return bound.dates[spare:] >= self.best.dates


def _all_of(domains: Sequence[int]) -> int:
    common = domains[0]
    for domain in domains[1:]:
        common &= domain
    return common


def _first(member: Member, places: int) -> int:
    """Return the place that this unit would take were it free to choose."""
    latest = member.latest(places)
    if not latest & (latest - 1):
        return latest.bit_length() - 1
    return min(each(latest), key=lambda place: (member.cost(place), place))


def _best_first(member: Member, places: int) -> Iterator[int]:
    while places:
        latest = member.latest(places)
        yield from sorted(each(latest), key=lambda place: (member.cost(place), place))
        places &= ~latest


def _alike(members: Sequence[Member]) -> tuple[int | None, ...]:
    """Return the ends where the same release is asked for and not all can have it: the most units, then the best."""
    held_by = [0] * (len(members) + 1)
    for member in members:
        for count in range(len(members), 1, -1):
            held_by[count] |= held_by[count - 1] & member.options
        held_by[1] |= member.options
    most = next(places for places in reversed(held_by) if places)
    plans = [
        _Plan(members, [place if m.options >> place & 1 else None for m in members])
        for place in _oldest_latest(members, most)
    ]
    best = plans[0]
    for plan in plans[1:]:
        best = plan if plan.beats(best) else best
    return best.places


def _oldest_latest(members: Sequence[Member], places: int) -> list[int]:
    """Return those of the places whose oldest day of issue, among the units that can end there, is the latest."""
    held: dict[object, tuple[Member, int]] = {}
    for member in members:
        _, options = held.get(member.ranking, (member, 0))
        held[member.ranking] = (member, options | member.options)
    kinds = list(held.values())
    if len(kinds) == 1:
        return list(each(members[0].latest(places)))
    days = {p: min(m.issued_on(p) for m, options in kinds if options >> p & 1) for p in each(places)}
    latest = max(days.values())
    return [place for place, day in days.items() if day == latest]
