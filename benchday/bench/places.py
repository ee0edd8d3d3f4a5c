"""Who gets which station, cable, adapter and charger: the dispatch policy applied to the live state."""

from __future__ import annotations

from collections.abc import Mapping

from benchday.bench.book import Book
from benchday.domain.bench import BenchFile
from benchday.domain.fold import DayState
from benchday.domain.kinds import PlaceFreed, PlaceGranted
from benchday.domain.plan import DayPlan
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.planning.policy import Ask, Phase, Pool, grant, in_queue_order

STATION = "station"
CHARGER = "charger"


def pools_of(bench: BenchFile) -> dict[str, tuple[str, ...]]:
    """Return the bench's pools of places by name: station, charger, adapter, and one for each type of cable."""
    pools: dict[str, tuple[str, ...]] = {
        STATION: tuple(s.name for s in bench.stations),
        CHARGER: tuple(c.name for c in bench.chargers),
        "adapter": tuple(a.name for a in bench.adapters),
    }
    for cable in bench.cables:
        pools[f"cable:{cable.connector}"] = (*pools.get(f"cable:{cable.connector}", ()), cable.number)
    return pools


def gated(state: DayState, story: UnitStory, plan: DayPlan) -> str | None:
    """Say why a waiting unit must not ask for a station yet; None if it may."""
    if story.target is None or not story.route:
        return None
    key = (story.model, story.target)
    if key in state.lines_stopped:
        return f"the line {story.model} {story.target} is stopped"
    return unverified_first(state, story, plan)


def unverified_first(state: DayState, story: UnitStory, plan: DayPlan) -> str | None:
    """Say which unit is being written as the first of this model and release; None if there is none to wait for.

    With ``first_off`` the first is verified before a second is begun. Of several that are on stations the one furthest
    on is the first.
    """
    key = (story.model, story.target)
    if not plan.day.policy.first_off or key in state.verified:
        return None
    ahead = [
        other
        for other in state.units.values()
        if other is not story and (other.model, other.target) == key and other.on_station and other.route
    ]
    if story.on_station:
        ahead = [o for o in ahead if o.state in (State.WRITE, State.RESTART, State.VERIFY)]
    return f"{ahead[0].serial} is the first {story.model} on {story.target} and not verified yet" if ahead else None


def station_asks(state: DayState, plan: DayPlan, now_us: int) -> tuple[Ask, ...]:
    """Return the asks for a station, one for each unit that may be served now."""
    if state.begun is None or now_us >= state.begun["closes_us"]:
        return ()
    asks = [
        Ask(s.serial, STATION, 0, s.waiting_since_us, s.position)
        for s in state.units.values()
        if s.state is State.WAITING
        and s.station is None
        and s.charge_wanted_percent is None
        and s.not_today is None
        and gated(state, s, plan) is None
    ]
    return _one_a_gate(state, plan, in_queue_order(asks))


def _one_a_gate(state: DayState, plan: DayPlan, asks: tuple[Ask, ...]) -> tuple[Ask, ...]:
    """Keep of the units that would be the first of their model and release only the first in the queue."""
    if not plan.day.policy.first_off:
        return asks
    kept, firsts = [], set()
    for ask in asks:
        story = state.units[ask.unit]
        key = (story.model, story.target)
        if story.target is not None and story.route and key not in state.verified:
            if key in firsts:
                continue
            firsts.add(key)
        kept.append(ask)
    return tuple(kept)


def charger_asks(state: DayState) -> tuple[Ask, ...]:
    """Return the asks for a charger."""
    return tuple(
        Ask(s.serial, CHARGER, 0, s.waiting_since_us, s.position)
        for s in state.units.values()
        if s.state is State.WAITING and s.charge_wanted_percent is not None and CHARGER not in s.places
    )


class Places:
    """Grants places and takes them back; each grant is an entry."""

    def __init__(self, book: Book, plan: DayPlan) -> None:
        self._book = book
        self.plan = plan
        self._asks: dict[str, Ask] = {}
        self.idle: list[str] = []
        """Stations whose task waits for a unit, in the order of bench.yaml when granted."""

    async def get(self, unit: str, pool: str) -> str:
        """Return a place of a pool for a unit, waiting for its turn."""
        story = self._book.state.units[unit]
        if pool not in story.places:
            self._asks[unit] = Ask(unit, pool, 0, self._book.clock.now(), story.position)
            self._book.nudge()
            try:
                await self._book.until(lambda: pool in story.places)
            finally:
                self._asks.pop(unit, None)
        return story.places[pool]

    async def free(self, unit: str, *pools: str) -> None:
        """Give places back."""
        held = self._book.state.units[unit].places
        drafts = [
            PlaceFreed(pool=p, place=held[p]).draft(unit=unit, station=held.get(STATION)) for p in pools if p in held
        ]
        if drafts:
            await self._book.append(*drafts)

    async def settle(self, *, new_units: bool = True) -> None:
        """Grant what is free and asked for.

        Args:
            new_units: also grant stations and chargers; not while the day is being stopped.
        """
        state, now = self._book.state, self._book.clock.now()
        pools = pools_of(self.plan.bench)
        asks = list(self._asks.values())
        if new_units:
            asks += [*station_asks(state, self.plan, now), *charger_asks(state)]
        free = {name: self._free(name, places) for name, places in pools.items()}
        asks = [ask for ask in asks if ask.pool in pools]
        sizes = {name: Pool(name, len(places), Phase.PLACES) for name, places in pools.items()}
        for ask in grant(sizes, {name: len(f) for name, f in free.items()}, asks, Phase.PLACES, now):
            place = free[ask.pool].pop(0)
            story = state.units[ask.unit]
            station = place if ask.pool == STATION else story.station
            await self._book.append(PlaceGranted(pool=ask.pool, place=place).draft(unit=ask.unit, station=station))

    def _free(self, pool: str, places: tuple[str, ...]) -> list[str]:
        taken = {u.places.get(pool) for u in self._book.state.units.values()}
        free = [p for p in places if p not in taken]
        return [p for p in free if p in self.idle] if pool == STATION else free


def waiting_reasons(state: DayState, plan: DayPlan) -> Mapping[str, str]:
    """Say for each waiting unit that may not ask for a station why that is."""
    return {
        s.serial: reason
        for s in state.units.values()
        if s.state is State.WAITING and (reason := gated(state, s, plan)) is not None
    }
