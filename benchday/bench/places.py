"""Who gets which station, cable, adapter and charger: the dispatch policy applied to the live state."""

from __future__ import annotations

from benchday.bench.book import Book
from benchday.domain.kinds import PlaceFreed, PlaceGranted
from benchday.domain.plan import DayPlan
from benchday.planning.gates import STATION, charger_asks, pools_of, station_asks
from benchday.planning.policy import Ask, Phase, Pool, grant


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
            self._asks[unit] = Ask(unit, pool, self._book.state.turn(unit), self._book.clock.now(), story.position)
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
