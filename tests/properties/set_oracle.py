"""The matching set said anew and found by trying everything: plain, and without a line of the product's search."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from benchday.domain.playbook import Together, Works
from benchday.domain.releases import Image, Version
from benchday.domain.sets import SetChoice
from benchday.domain.units import Role
from benchday.planning.target import UnitNow
from tests.properties.test_route_properties import cost, lawful_ways

Cost = tuple[int, int]
"""Number of writes and their time."""


@dataclass(frozen=True)
class Case:
    """A crew with everything that matters."""

    units: tuple[UnitNow, ...]
    store: tuple[Image, ...]
    together: tuple[Together, ...]
    us: Mapping[str, int]
    choice: SetChoice | None = None

    def allowed(self, unit: UnitNow) -> tuple[Image, ...]:
        """Images that may be put on a unit."""
        until = unit.support_until or "9999-12-31"
        return tuple(i for i in self.store if i.suits(unit.model, unit.hardware) and i.issued <= until)

    def issued(self, unit: UnitNow, version: Version) -> str:
        """Day of issue of a release for this unit."""
        return next(
            (i.issued for i in self.store if i.version == version and i.suits(unit.model, unit.hardware)), "0001-01-01"
        )

    def best_way(self, unit: UnitNow, goal: Version) -> Cost | None:
        """Cost of the best way up to a release."""
        allowed = self.allowed(unit)
        if unit.release is None:
            return next(((1, self.us[i.release]) for i in allowed if i.version == goal), None)
        costs = [cost(way, self.us) for way in lawful_ways(Version(unit.release), goal, allowed)]
        us, writes, _ = min(costs, default=(0, 0, ()))
        return (writes, us) if costs else None

    def options(self, unit: UnitNow) -> dict[Version, Cost]:
        """Releases on which a unit may end."""
        stays = {} if unit.release is None else {Version(unit.release): (0, 0)}
        if unit.away is not None:
            return stays
        up = {i.version: way for i in self.allowed(unit) if (way := self.best_way(unit, i.version)) is not None}
        return up | self._back(unit) | stays

    def _back(self, unit: UnitNow) -> dict[Version, Cost]:
        runs = [i for i in self.store if i.suits(unit.model, unit.hardware) and i.release == unit.release]
        if self.choice is not SetChoice.BACK or not runs or runs[0].back_to is None:
            return {}
        lowest, here = Version(runs[0].back_to), runs[0].version
        return {i.version: (1, self.us[i.release]) for i in self.allowed(unit) if lowest <= i.version < here}

    def alone(self, unit: UnitNow) -> tuple[Version | None, Cost]:
        """Where a unit ends that is outside, and what it costs."""
        here = Version(unit.release) if unit.release else None
        if unit.away is not None:
            return here, (0, 0)
        ahead = [i for i in self.allowed(unit) if here is None or i.version > here]
        goal = max(ahead, key=lambda i: (i.issued, i.version), default=None)
        if goal is None or (here is not None and goal.issued < self.issued(unit, here)):
            return here, (0, 0)
        return goal.version, self.best_way(unit, goal.version) or (0, 0)

    def work(self, one: tuple[UnitNow, Version], other: tuple[UnitNow, Version]) -> bool:
        """Tell whether two ends work together."""
        (a, x), (b, y) = one, other
        if a.model == b.model and x == y:
            return True
        named = False
        for group in self.together:
            xs = [w for w in group.together if w.model == a.model]
            ys = [w for w in group.together if w.model == b.model]
            if a.model == b.model and len({w.model for w in group.together}) > 1:
                # Beside another model a range says nothing of two units of its own; two ranges of it do.
                pairs = [(w, v) for n, w in enumerate(group.together) for m, v in enumerate(group.together) if n != m]
                pairs = [(w, v) for w, v in pairs if w.model == v.model == a.model]
                named = named or bool(pairs)
                if any(_holds(w, x) and _holds(v, y) for w, v in pairs):
                    return True
                continue
            named = named or (bool(xs) and bool(ys))
            if any(_holds(w, x) for w in xs) and any(_holds(w, y) for w in ys):
                return True
        receivers = [u.role is not Role.NONE for u in (a, b)]
        if not named and a.model != b.model and not any(receivers):
            return True
        return not named and x == y and all(receivers)

    def members(self) -> list[UnitNow]:
        """Units of the set that take part, by serial."""
        models = {u.model for u in self.units if u.role is not Role.NONE}
        named = {w.model for g in self.together for w in g.together if models & {other.model for other in g.together}}
        keeps = self.choice in (SetChoice.KEEP, SetChoice.BACK)
        found = [u for u in self.units if u.role is not Role.NONE or u.model in named]
        found = [u for u in found if (u.away is None or keeps) and self.options(u)]
        return sorted(found, key=lambda u: u.serial)

    def key(self, members: Sequence[UnitNow], ends: Sequence[Version | None]) -> tuple[object, ...] | None:
        """What is compared, less is better; None if not all that are inside work together."""
        inside = [(u, v) for u, v in zip(members, ends, strict=True) if v is not None]
        if any(not self.work(one, other) for n, one in enumerate(inside) for other in inside[:n]):
            return None
        costs = [self.alone(u)[1] if v is None else self.options(u)[v] for u, v in zip(members, ends, strict=True)]
        final = [self.alone(u)[0] if v is None else v for u, v in zip(members, ends, strict=True)]
        return (
            len(members) - len(inside),
            tuple(-int(day.replace("-", "")) for day in sorted(self.issued(u, v) for u, v in inside)),
            sum(c[0] for c in costs),
            sum(c[1] for c in costs),
            tuple((u.serial, v or Version("0")) for u, v in zip(members, final, strict=True)),
        )

    def keys(self) -> Iterator[tuple[object, ...]]:
        """Yield the key of everything that could be chosen."""
        members = self.members()
        for ends in product(*([None, *self.options(u)] for u in members)):
            key = self.key(members, ends)
            if key is not None and any(end is not None for end in ends):
                yield key


def _holds(works: Works, version: Version) -> bool:
    oldest, newest = works.oldest, works.newest
    return Version(oldest) <= version and (newest is None or version <= Version(newest))
