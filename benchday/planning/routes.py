"""Routes: the releases a unit must pass through to get to another, with the least expected time. Never downwards.

Going upwards, to pass through more can only open more ways: what can be reached is found in one sweep from the oldest
release to the newest. The route itself is a shortest path (Dijkstra 1959) over release and stepping stones passed,
sought among those releases alone that can help: the goal, the stones demanded, and what ``enter_from`` makes necessary.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from benchday.domain.releases import Image, Version
from benchday.planning.places import Order, above, below, each


@dataclass(frozen=True, slots=True)
class Start:
    """Where a route begins."""

    version: Version | None
    """Release that runs now; None in the boot loader, from which any release may be entered."""


def route(
    start: Start, goal: Version, images: Sequence[Image], write_us: Callable[[Image], int] | None = None
) -> tuple[Image, ...] | None:
    """Return the images to write, the goal's last, in the least expected time; None if no way leads there.

    Of ways that take equally long it is one with the fewest writes, of those the one with the oldest releases.

    Args:
        start: where the unit is; already on the goal is no list of writes but the empty one.
        goal: release to reach.
        images: those that may be put on this unit (model, hardware revision, support term), each release once.
        write_us: expected time of a write, microseconds; None: all take alike.
    """
    if start.version == goal:
        return ()
    ways, here, listed = _ways(start, images, write_us)
    places = [place for place, image in listed.items() if image.version == goal]
    way = ways.way(here, places[0], ways.all) if places else None
    return None if way is None else tuple(listed[place] for place in way)


def reachable(start: Start, images: Sequence[Image]) -> tuple[Image, ...]:
    """Return the images to whose release a route leads, newest release first."""
    ways, here, listed = _ways(start, images, None)
    return tuple(listed[place] for place in reversed(tuple(each(ways.reach(here, ways.all)))))


def _ways(
    start: Start, images: Iterable[Image], write_us: Callable[[Image], int] | None
) -> tuple[Ways, int | None, dict[int, Image]]:
    order = Order(images, [str(start.version)] if start.version is not None else [])
    listed: dict[int, Image] = {}
    for image in images:
        listed.setdefault(order.place(image.version), image)
    times = {place: write_us(image) if write_us else 0 for place, image in listed.items()}
    return Ways(order, listed, times), None if start.version is None else order.place(start.version), listed


class _Rule:
    """The route rules of one release that has any."""

    __slots__ = ("bit", "enter", "place", "stones")

    def __init__(self, place: int, image: Image, order: Order) -> None:
        self.place = place
        self.bit = 1 << place
        self.enter = 0 if image.enter_from is None else order.place(Version(image.enter_from))
        self.stones = sum({1 << order.place(Version(text)) for text in image.through})


class Ways:
    """The ways between the releases for one model and hardware revision; places as in the order."""

    def __init__(
        self, order: Order, images: Mapping[int, Image], times: Mapping[int, int], usual: int | None = None
    ) -> None:
        """Look at the rules of all releases once.

        Args:
            order: of all releases.
            images: place -> image.
            times: place -> expected time of a write, microseconds, not negative.
            usual: the releases that are allowed unless a term forbids some of them; None: all.
        """
        self.all = sum(1 << place for place in images)
        self._usual = self.all if usual is None else usual
        self._times = times
        self._least = min(times.values(), default=0)
        self._alike = self._least == max(times.values(), default=0)
        ruled = [place for place, image in sorted(images.items()) if image.enter_from is not None or image.through]
        self._rules = {place: _Rule(place, images[place], order) for place in ruled}
        self._ruled = sum(1 << place for place in ruled)
        self._stones = sum({1 << place for rule in self._rules.values() for place in each(rule.stones)})
        self._back_to = {
            place: order.place(Version(image.back_to)) for place, image in images.items() if image.back_to is not None
        }
        self._direct: dict[int, int] = {}
        self._reach: dict[tuple[int, int], int] = {}
        self._found: dict[tuple[int, int, int], tuple[int, ...] | None] = {}

    def direct(self, start: int | None) -> int:
        """Return the releases that may be entered from this one at once; None: from the boot loader."""
        if start is None:
            return self.all
        if start not in self._direct:
            found = above(start, self.all & ~self._ruled)
            for place, rule in self._rules.items():
                if place > start >= rule.enter and not above(start, rule.stones):
                    found |= rule.bit
            self._direct[start] = found
        return self._direct[start]

    def reach(self, start: int | None, allowed: int) -> int:
        """Return the releases to which a way of allowed releases leads, the start not among them."""
        if start is None:
            return self.all & allowed
        ahead, usual = allowed >> (start + 1), self._usual >> (start + 1)
        if ahead == usual & below(ahead.bit_length()):
            # No release is missing below the highest allowed one: what leads to it is the same as without a term.
            return self._swept(start, self._usual) & allowed
        return self._swept(start, allowed)

    def way(self, start: int | None, goal: int, allowed: int) -> tuple[int, ...] | None:
        """Return the releases to write, the goal last; None if no way of allowed releases leads there."""
        if start == goal:
            return ()
        if not self.reach(start, allowed) >> goal & 1:
            return None
        if start is None or self.direct(start) >> goal & 1:
            return (goal,)
        helpful = above(start, allowed) & below(goal + 1)
        key = (start, goal, helpful)
        if key not in self._found:
            self._found[key] = self._over_one(start, goal, helpful) or self._search(start, goal, helpful)
        return self._found[key]

    def back(self, start: int) -> int:
        """Return the older releases to which one may return from this one, each by one write."""
        lowest = self._back_to.get(start)
        return 0 if lowest is None else self.all & below(start) & ~below(lowest)

    def wanted(self, start: int, goal: int) -> int:
        """Return the stepping stones that a unit which began there must pass, for the goal and for each of them."""
        found, todo = 0, 1 << goal
        while todo:
            place = todo.bit_length() - 1
            rule = self._rules.get(place)
            more = above(start, rule.stones) & ~found if rule is not None else 0
            found |= more
            todo = (todo ^ 1 << place) | more
        return found

    def _swept(self, start: int, allowed: int) -> int:
        key = (start, allowed)
        if key not in self._reach:
            passed = self.direct(start) & allowed
            todo = above(start, allowed & self._ruled) & ~passed
            for place in each(todo):
                if self._enterable(place, start, passed & below(place)):
                    passed |= 1 << place
            self._reach[key] = passed
        return self._reach[key]

    def _enterable(self, place: int, start: int, passed: int) -> bool:
        """Tell whether a release may be entered from the newest of those passed, or else from the start."""
        rule = self._rules.get(place)
        if rule is None:
            return True
        here = passed.bit_length() - 1 if passed else start
        return here >= rule.enter and not above(start, rule.stones) & ~passed

    def _over_one(self, start: int, goal: int, helpful: int) -> tuple[int, ...] | None:
        """Return the way over one other release where it is plain that none takes less; None if it is not."""
        rule = self._rules[goal]
        stones = above(start, rule.stones)
        over = (stones or helpful & below(goal) & ~below(rule.enter)) & self.direct(start)
        if stones & (stones - 1) or not over:
            return None
        best = (over & -over).bit_length() - 1 if self._alike else min(each(over), key=lambda p: (self._times[p], p))
        if best < rule.enter or not helpful >> best & 1:
            return None
        # A way over more than one takes the time of two writes at least besides the goal's.
        return (best, goal) if stones or self._times[best] <= 2 * self._least else None

    def _search(self, start: int, goal: int, allowed: int) -> tuple[int, ...] | None:
        helpful = self._helpful(start, goal, allowed)
        ahead: list[tuple[int, int, tuple[int, ...], int]] = [(0, 0, (), 0)]
        done = set()
        while ahead:
            us, writes, way, passed = heappop(ahead)
            here = way[-1] if way else start
            if here == goal:
                return way
            if (here, passed & self._stones) in done:
                continue
            done.add((here, passed & self._stones))
            for place in each(above(here, helpful)):
                if self._enterable(place, start, passed):
                    heappush(ahead, (us + self._times[place], writes + 1, (*way, place), passed | 1 << place))

        return None

    def _helpful(self, start: int, goal: int, allowed: int) -> int:
        """Return the releases that a shortest way may need: a way is no worse without any other."""
        found = todo = 1 << goal
        while todo:
            place = todo.bit_length() - 1
            todo ^= 1 << place
            rule = self._rules.get(place)
            if rule is not None:
                needed = above(start, rule.stones) | (~below(rule.enter) if rule.enter > start else 0)
                more = needed & below(place) & allowed & ~found
                found |= more
                todo |= more
        return found
