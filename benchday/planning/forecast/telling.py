"""What a forecast says to a manager: clock times with their chances, what is waited for, who cannot be begun."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from benchday.planning.forecast.coming import Coming
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.pools import PoolUse
from benchday.planning.forecast.spread import Spread
from benchday.planning.forecast.stages import TECHNICIAN
from benchday.planning.wording import MINUTE_US

HARDLY_EVER = 0.01
"""A unit that closing time keeps out on no more days than this is not listed."""
MORE_OFTEN_THAN_NOT = 0.5
"""From this share of days on a unit counts as one that cannot be begun."""
SHORT_WAIT = 1.0
"""Minutes; what is waited for less is no bottleneck."""


@dataclass(frozen=True, slots=True)
class When:
    """A time of day that is not certain: by then in 50, 80 and 95 of 100 days; None: not even then."""

    p50_us: int | None
    p80_us: int | None
    p95_us: int | None


@dataclass(frozen=True, slots=True)
class By:
    """The chance that everything is done by a time."""

    at_us: int
    share: float
    closing: bool = False


@dataclass(frozen=True, slots=True)
class CrewTold:
    """When all units of a crew are ready."""

    title: str
    units: tuple[str, ...]
    ready: When
    promised_us: int | None
    """The latest of what its units were promised; None if nothing was."""
    kept: float | None
    """Share of days on which each of its units is ready as promised, of those that come."""


@dataclass(frozen=True, slots=True)
class UnitTold:
    """When one unit is ready."""

    serial: str
    ready: When
    promised_us: int | None
    kept: float | None
    not_begun: float
    """Share of days on which it comes and closing time keeps it from its write."""


@dataclass(frozen=True, slots=True)
class Bottleneck:
    """What units wait for most."""

    pool: str
    count: int
    wait: float
    """Minutes that one who asks for it waits."""
    waiting: float
    """Minutes that all together wait for it in a day."""
    full_us: tuple[tuple[int, int], ...]
    """When nearly all of it is in use: day times from and to."""


@dataclass(frozen=True, slots=True)
class CannotBegin:
    """A unit that cannot be begun or brought to its end, as things are."""

    serial: str
    reason: str
    share: float
    """Of days; 1 where it is certain."""
    stops: bool


@dataclass(frozen=True, slots=True)
class Told:
    """The forecast."""

    at_us: int
    closes_us: int
    end: When
    by: tuple[By, ...]
    crews: tuple[CrewTold, ...]
    units: tuple[UnitTold, ...]
    bottleneck: Bottleneck | None
    cannot: tuple[CannotBegin, ...]
    replications: int

    @property
    def stops(self) -> bool:
        """Tell whether some unit cannot be served as things are."""
        return any(unit.stops for unit in self.cannot)


def told(
    compiled: Compiled, outcomes: Outcomes, by_us: Sequence[int] = (), away: Mapping[str, frozenset[int]] | None = None
) -> Told:
    """Say what came of a model's replications.

    Args:
        compiled: the model, and what it means.
        outcomes: of its replications.
        by_us: day times for which the chance of being done is asked, besides closing.
        away: unit -> replications in which it does not come; None: as drawn with the model's seed.
    """
    days = _Days(compiled, outcomes, Coming.of(outcomes).away if away is None else away)
    closes_us = compiled.clock_us(compiled.model.close or 0.0)
    return Told(
        at_us=compiled.at_us,
        closes_us=closes_us,
        end=days.when(outcomes.makespan),
        by=(
            *(By(us, days.all_done((us - compiled.at_us) / MINUTE_US)) for us in by_us),
            By(closes_us, days.all_done(compiled.model.close or 0.0), closing=True),
        ),
        crews=tuple(days.crew(title, units) for title, units in compiled.crews.items()),
        units=tuple(days.unit(number) for number in range(len(compiled.model.units))),
        bottleneck=bottleneck(compiled, outcomes.pools),
        cannot=days.cannot(),
        replications=outcomes.replications,
    )


def bottleneck(compiled: Compiled, pools: Iterable[PoolUse]) -> Bottleneck | None:
    """Return the pool that units wait for most; None if none is waited for long.

    Waiting for hands counts as for any other pool, breaks among it.
    """
    most = max(pools, key=lambda pool: pool.waiting, default=None)
    if most is None or most.wait < SHORT_WAIT:
        return None
    full = tuple((compiled.clock_us(a), compiled.clock_us(b)) for a, b in most.full())
    return Bottleneck(most.name, most.count, most.wait, most.waiting, full)


class _Days:
    """The replications, with units that stay away told from those that closing time keeps out."""

    def __init__(self, compiled: Compiled, outcomes: Outcomes, away: Mapping[str, frozenset[int]]) -> None:
        self._compiled, self._outcomes = compiled, outcomes
        units = compiled.model.units
        self._places = {unit.id: place for place, unit in enumerate(units)}
        nobody: frozenset[int] = frozenset()
        self._ends = [_ends(outcomes.finish_of(place), away.get(u.id, nobody)) for place, u in enumerate(units)]
        self._kept_out = [_share_kept_out(ends) for ends in self._ends]

    def when(self, spread: Spread) -> When:
        """Return a spread of minutes as times of day."""
        minutes = [spread.quantile(share) for share in (0.5, 0.8, 0.95)]
        return When(*(None if m is None else self._compiled.clock_us(m) for m in minutes))

    def all_done(self, minutes: float) -> float:
        """Return the share of days on which every unit that comes is done by then."""
        return self._last(range(len(self._ends))).share_by(minutes) if self._ends else 1.0

    def _last(self, places: Iterable[int]) -> Spread:
        """Return when the last of these units is done, of those that come; never where one is kept out."""
        rows = zip(*(self._ends[place] for place in places), strict=True)
        came = ([end for end in row if not math.isnan(end)] for row in rows)
        return Spread.of(max(row) for row in came if row)

    def unit(self, place: int) -> UnitTold:
        """Tell of one unit, on the days on which it comes."""
        unit = self._compiled.model.units[place]
        spread = Spread.of(end for end in self._ends[place] if not math.isnan(end))
        kept = None if unit.promised is None else spread.share_by(unit.promised)
        promised_us = self._compiled.promised_us.get(unit.id)
        return UnitTold(unit.id, self.when(spread), promised_us, kept, self._kept_out[place])

    def crew(self, title: str, serials: tuple[str, ...]) -> CrewTold:
        """Tell of one crew."""
        places = [self._places[serial] for serial in serials]
        done = [(us - self._compiled.at_us) / MINUTE_US for us in self._compiled.ready_us.get(title, ())]
        last = Spread.of(max([end, *done]) for end in self._last(places).ordered)
        promised = [us for serial in serials if (us := self._compiled.promised_us.get(serial)) is not None]
        return CrewTold(title, serials, self.when(last), max(promised, default=None), self._kept(places))

    def _kept(self, places: Sequence[int]) -> float | None:
        units = [(place, self._compiled.model.units[place].promised) for place in places]
        promised = [(self._ends[place], limit) for place, limit in units if limit is not None]
        if not promised:
            return None
        days = zip(*([math.isnan(end) or end <= limit for end in ends] for ends, limit in promised), strict=True)
        kept = [all(day) for day in days]
        return sum(kept) / len(kept) if kept else None

    def cannot(self) -> tuple[CannotBegin, ...]:
        """Return who cannot be begun: for certain first, then by how often closing time is in the way."""
        certain = [CannotBegin(out.serial, out.reason, 1.0, out.stops) for out in self._compiled.left_out]
        known = {out.serial for out in certain}
        late = [
            CannotBegin(unit.id, self._why(place), share, share >= MORE_OFTEN_THAN_NOT)
            for place, (unit, share) in enumerate(zip(self._compiled.model.units, self._kept_out, strict=True))
            if share > HARDLY_EVER and unit.id not in known
        ]
        return (*certain, *sorted(late, key=lambda unit: -unit.share))

    def _why(self, place: int) -> str:
        unit = self._compiled.model.units[place]
        guards = [stage.guard for stage in unit.stages if stage.guard]
        if not guards:
            return "it would come to a station only after closing"
        minutes = math.ceil(max(guards))
        until = "it is wanted back" if unit.id in self._compiled.wanted_back else "closing"
        return f"its write would begin less than {minutes} min before {until}, too late to be verified by then"


def _ends(finishes: Iterable[float], away: frozenset[int]) -> list[float]:
    """Return a unit's ends by replication: NaN where it does not come, infinite where closing time keeps it out."""
    ends = enumerate(finishes)
    return [(math.nan if number in away else math.inf) if math.isnan(end) else end for number, end in ends]


def _share_kept_out(ends: Iterable[float]) -> float:
    came = [end for end in ends if not math.isnan(end)]
    return sum(map(math.isinf, came)) / len(came) if came else 0.0


def pool_words(name: str, count: int) -> str:
    """Word so many of a pool."""
    if name == TECHNICIAN:
        return f"{count} operator{'' if count == 1 else 's'}"
    if name.startswith("cable:"):
        return f"{count} cable{'' if count == 1 else 's'} with connector {name.removeprefix('cable:')}"
    word = {"adapter": "Wi-Fi adapter"}.get(name, name)
    return f"{count} {word}{'' if count == 1 else 's'}"
