"""Routes: the releases a unit must pass through to get to another, with the least expected time. Never downwards.

Going upwards, to pass through more can only open more ways: what can be reached is found in one sweep from the oldest
release to the newest. The route itself is a shortest path (Dijkstra 1959), sought backwards from the goal: before each
release comes the last of the stepping stones still wanted, the start, or, where ``enter_from`` forbids both, any
release from which it may be entered. No better way has others in it, for without them it would take no longer.
"""

from __future__ import annotations

from bisect import bisect_right
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

    __slots__ = ("bit", "enter", "stones", "under")

    def __init__(self, place: int, image: Image, order: Order) -> None:
        self.bit = 1 << place
        self.under = below(place)
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
        ruled = [place for place, image in sorted(images.items()) if image.enter_from is not None or image.through]
        self._rules = {place: _Rule(place, images[place], order) for place in ruled}
        self._ruled_places = ruled
        self._in_order = tuple(self._rules.values())
        self._ruled = sum(1 << place for place in ruled)
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
        if self.direct(start) & allowed & 1 << goal:
            return (goal,)
        if start is None or not self.reach(start, allowed) >> goal & 1:
            return None
        helpful = above(start, allowed) & below(goal + 1)
        key = (start, goal, helpful)
        if key not in self._found:
            self._found[key] = self._search(start, goal, helpful)
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
            first = bisect_right(self._ruled_places, start)
            for rule in self._in_order[first:]:
                if rule.bit & todo:
                    before = passed & rule.under
                    if (rule.enter <= start or before >> rule.enter) and (
                        not rule.stones or not above(start, rule.stones) & ~before
                    ):
                        passed |= rule.bit
            self._reach[key] = passed
        return self._reach[key]

    def _search(self, start: int, goal: int, allowed: int) -> tuple[int, ...] | None:
        """Return the best way over allowed releases above the start.

        Each entry is a way's end that is settled, with the stones still wanted before it, whose writes count already.
        """
        ahead: list[tuple[int, int, tuple[int, ...], int]] = []
        done: set[tuple[int, int]] = set()
        best: tuple[int, int, tuple[int, ...]] | None = None
        self._put_before(ahead, (0, 0, (), 0), goal, start, allowed)
        while ahead:
            us, writes, way, wanted = heappop(ahead)
            if best is not None and (us, writes) > best[:2]:
                break
            if (way[0], wanted) in done:
                continue
            done.add((way[0], wanted))
            enter = self._enter(way[0])
            if not wanted and enter <= start:
                best = min(best or (us, writes, way), (us, writes, way))
                continue
            last = wanted.bit_length() - 1
            before = (last,) if wanted and last >= enter else each(allowed & below(way[0]) & ~below(enter))
            for place in before:
                self._put_before(ahead, (us, writes, way, wanted), place, start, allowed)

        return None if best is None else best[2]

    def _put_before(
        self,
        ahead: list[tuple[int, int, tuple[int, ...], int]],
        known: tuple[int, int, tuple[int, ...], int],
        place: int,
        start: int,
        allowed: int,
    ) -> None:
        """Put a release before a way's end, and want what it demands; what can never be had is left out."""
        us, writes, way, wanted = known
        rule = self._rules.get(place)
        stones = above(start, rule.stones) if rule is not None else 0
        if not stones and not wanted:
            heappush(ahead, (us + self._times[place], writes + 1, (place, *way), 0))
            return
        more = (stones | 1 << place) & ~wanted
        after = (wanted | stones) & ~(1 << place)
        if stones >> place or after & ~(allowed & below(place)):
            return
        us += sum(self._times[p] for p in each(more))
        heappush(ahead, (us, writes + more.bit_count(), (place, *way), after))

    def _enter(self, place: int) -> int:
        rule = self._rules.get(place)
        return 0 if rule is None else rule.enter
