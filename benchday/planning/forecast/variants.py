"""Another day to compare with: the same units and chances, with one thing changed.

What a unit draws depends on nothing but itself, so both days meet the same chances, and what differs is the change.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Protocol

from benchday.planning.forecast.coming import LATE
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.stages import TECHNICIAN
from benchday.planning.gates import STATION
from benchday.planning.laws import Fixed, Retried
from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.policy import Pool
from benchday.planning.wording import MINUTE_US

FAR = 100_000.0
"""Minutes by which closing is moved out of the way."""
VERIFY = "verify"


class Change(Protocol):
    """One thing that is changed in a day."""

    def __call__(self, compiled: Compiled) -> Compiled:
        """Return the day with the change."""
        ...


@dataclass(frozen=True, slots=True)
class Variant:
    """A change, and what it is called."""

    name: str
    change: Change


@dataclass(frozen=True, slots=True)
class MoreOf:
    """So many more of a pool, or less."""

    pool: str
    more: int

    def __call__(self, compiled: Compiled) -> Compiled:
        """Return the day with the change."""
        return _with_pools(
            compiled, lambda pool: replace(pool, count=pool.count + self.more) if pool.name == self.pool else pool
        )


@dataclass(frozen=True, slots=True)
class OpenEarlier:
    """The day opens so many minutes earlier, for who is expected at opening too; later if negative."""

    minutes: float

    def __call__(self, compiled: Compiled) -> Compiled:
        """Return the day with the change: minute 0 is the new opening."""
        by, model = self.minutes, compiled.model
        units = tuple(_from_new_opening(unit, by) for unit in model.units)
        pools = tuple(
            replace(pool, breaks=tuple((max(a + by, 0.0), b + by) for a, b in pool.breaks if b + by > 0))
            for pool in model.pools
        )
        close = None if model.close is None else model.close + by
        return regated(
            replace(
                compiled,
                model=replace(model, units=units, pools=pools, close=close),
                at_us=compiled.at_us - round(by * MINUTE_US),
            )
        )


@dataclass(frozen=True, slots=True)
class CloseLater:
    """The day closes so many minutes later; earlier if negative."""

    minutes: float

    def __call__(self, compiled: Compiled) -> Compiled:
        """Return the day with the change; who does not come stays away."""
        model = compiled.model
        if model.close is None:
            return compiled
        units = tuple(_away_for(_wanted_back(compiled, unit, self.minutes), self.minutes) for unit in model.units)
        return replace(compiled, model=replace(model, units=units, close=model.close + self.minutes))


@dataclass(frozen=True, slots=True)
class Without:
    """Some units do not come."""

    units: frozenset[str]

    def __call__(self, compiled: Compiled) -> Compiled:
        """Return the day with the change."""
        kept = tuple(unit for unit in compiled.model.units if unit.id not in self.units)
        crews = {title: tuple(u for u in units if u not in self.units) for title, units in compiled.crews.items()}
        crews = {title: units for title, units in crews.items() if units}
        return replace(compiled, model=_regated(compiled.model, kept), crews=crews)


@dataclass(frozen=True, slots=True)
class ComesLater:
    """Some units are expected so many minutes later, not before opening; earlier if negative."""

    units: frozenset[str]
    minutes: float

    def __call__(self, compiled: Compiled) -> Compiled:
        """Return the day with the change."""
        units = tuple(
            replace(unit, arrival=max(unit.arrival + self.minutes, 0.0)) if unit.id in self.units else unit
            for unit in compiled.model.units
        )
        return regated(replace(compiled, model=replace(compiled.model, units=units)))


@dataclass(frozen=True, slots=True)
class ComesAt:
    """Some units are expected at a day time."""

    units: frozenset[str]
    at_us: int

    def __call__(self, compiled: Compiled) -> Compiled:
        """Return the day with the change."""
        arrival = max((self.at_us - compiled.at_us) / MINUTE_US, 0.0)
        units = tuple(
            replace(unit, arrival=arrival) if unit.id in self.units else unit for unit in compiled.model.units
        )
        return regated(replace(compiled, model=replace(compiled.model, units=units)))


@dataclass(frozen=True, slots=True)
class GoesFirst:
    """Some units go before all others."""

    units: frozenset[str]

    def __call__(self, compiled: Compiled) -> Compiled:
        """Return the day with the change; who holds a place already still stands before them."""
        model = compiled.model
        least = min((unit.priority for unit in model.units if unit.priority >= 0), default=0.0)
        units = tuple(replace(u, priority=least - 0.5) if u.id in self.units else u for u in model.units)
        return replace(compiled, model=replace(model, units=units))


@dataclass(frozen=True, slots=True)
class Several:
    """Several changes, one after the other."""

    changes: tuple[Change, ...]

    def __call__(self, compiled: Compiled) -> Compiled:
        """Return the day with all of them."""
        for change in self.changes:
            compiled = change(compiled)
        return compiled


def open_ended(compiled: Compiled) -> Compiled:
    """Return the day with closing out of the way: it goes on until everything that came is done."""
    return CloseLater(FAR)(compiled)


def ordered(compiled: Compiled, order: Iterable[str]) -> Compiled:
    """Return the day with units going in an order; who is not in it keeps its priority."""
    turns = {unit: float(turn) for turn, unit in enumerate(order)}
    units = tuple(
        replace(unit, priority=turns.get(unit.id, unit.priority)) if unit.priority >= 0 else unit
        for unit in compiled.model.units
    )
    return replace(compiled, model=replace(compiled.model, units=units))


def expected(compiled: Compiled) -> frozenset[str]:
    """Return the units that are still to come."""
    return frozenset(unit.id for unit in compiled.model.units if unit.stages[0].name == LATE)


def comes_later(compiled: Compiled, title: str) -> frozenset[str]:
    """Return the units of a crew that are still to come."""
    return expected(compiled) & frozenset(compiled.crews.get(title, ()))


def _with_pools(compiled: Compiled, change: Callable[[Pool], Pool]) -> Compiled:
    return replace(compiled, model=replace(compiled.model, pools=tuple(map(change, compiled.model.pools))))


def _from_new_opening(unit: ModelUnit, by: float) -> ModelUnit:
    """Return a unit on the new day's clock; who was to come at opening comes at the new one."""
    promised = None if unit.promised is None else unit.promised + by
    arrival = unit.arrival + by if unit.arrival > 0 else 0.0
    return replace(unit, arrival=max(arrival, 0.0), promised=promised)


def _away_for(unit: ModelUnit, minutes: float) -> ModelUnit:
    """Return a unit that, where it does not come, stays away for so many minutes more."""
    first = unit.stages[0]
    law = first.law
    if first.name != LATE or not isinstance(law, Retried) or not isinstance(law.extra, Fixed):
        return unit
    longer = replace(law, extra=Fixed(max(law.extra.value + minutes, 1.0)))
    return replace(unit, stages=(replace(first, law=longer), *unit.stages[1:]))


def _wanted_back(compiled: Compiled, unit: ModelUnit, minutes: float) -> ModelUnit:
    """Return a unit whose crew wants it back at a time of its own, which closing later does not move."""
    if unit.id not in compiled.wanted_back or minutes >= FAR:
        return unit
    stages = tuple(replace(s, guard=max(s.guard + minutes, 0.0)) if s.guard else s for s in unit.stages)
    return replace(unit, stages=stages)


def regated(compiled: Compiled) -> Compiled:
    """Return the day with the first of each model and release named anew: whose turn it is if all come as expected."""
    return replace(compiled, model=_regated(compiled.model, compiled.model.units))


def _regated(model: Model, units: tuple[ModelUnit, ...]) -> Model:
    for gate in dict.fromkeys(gate for unit in model.units for gate in opens(unit)):
        units = _with_first(units, gate, {u.id for u in model.units if gate in opens(u)})
    return replace(model, units=units)


def _with_first(units: tuple[ModelUnit, ...], gate: str, openers: Collection[str]) -> tuple[ModelUnit, ...]:
    """Let another open a gate where those that do are gone, or come after one that waits for it."""
    left = [unit for unit in units if unit.id in openers]
    waiting = [unit for unit in units if _waits_for(unit, gate)]
    if not waiting:
        return units
    first = min(waiting, key=_turn)
    if left and (any(u.stages[0].name != LATE for u in left) or min(map(_turn, left)) <= _turn(first)):
        return units
    moved = {first.id: _opening(first, gate)} | {u.id: put_behind(u, gate) for u in left}
    return tuple(moved.get(unit.id, unit) for unit in units)


def _turn(unit: ModelUnit) -> tuple[float, float]:
    before = 0.0
    for stage in unit.stages:
        if STATION in stage.takes:
            break
        law = stage.law
        before += law.first.mean if stage.name == LATE and isinstance(law, Retried) else law.mean
    return (unit.priority, unit.arrival + before)


def opens(unit: ModelUnit) -> tuple[str, ...]:
    """Return the gates that a unit opens."""
    return tuple(dict.fromkeys(stage.opens for stage in unit.stages if stage.opens is not None))


def _waits_for(unit: ModelUnit, gate: str) -> bool:
    return any(stage.waits_for == gate for stage in unit.stages)


def _opening(unit: ModelUnit, gate: str) -> ModelUnit:
    """Return a unit as the first: it comes for sure, waits for nobody and opens the gate at its last verify."""
    stages = [replace(s, waits_for=None) if s.waits_for == gate else s for s in unit.stages]
    law = stages[0].law
    if stages[0].name == LATE and isinstance(law, Retried):
        stages[0] = replace(stages[0], law=law.first)
    last = max((n for n, s in enumerate(stages) if s.name == VERIFY), default=len(stages) - 1)
    stages[last] = replace(stages[last], opens=gate)
    return replace(unit, stages=tuple(stages))


def put_behind(unit: ModelUnit, gate: str) -> ModelUnit:
    """Return a unit that was the first as one that waits for it."""
    return replace(unit, stages=tuple(_waits(stage, gate) for stage in unit.stages))


def _waits(stage: Stage, gate: str) -> Stage:
    opens = None if stage.opens == gate else stage.opens
    return replace(stage, opens=opens, waits_for=gate if STATION in stage.takes else stage.waits_for)


def standard(compiled: Compiled, *, opened: bool) -> Iterator[Variant]:
    """Yield what may help: one more of each pool, one helper more, hours, other times of coming, a unit fewer.

    Args:
        compiled: the day.
        opened: it has opened already.
    """
    for pool in compiled.model.pools:
        yield Variant(f"one more {pool_word(pool.name)}", MoreOf(pool.name, 1))
    if not opened:
        yield Variant("opening 30 min earlier", OpenEarlier(30))
    for title in compiled.crews:
        units = comes_later(compiled, title)
        if any(unit.arrival > 0 and unit.id in units for unit in compiled.model.units):
            yield Variant(f"{title} comes 30 min earlier", ComesLater(units, -30))
    coming = expected(compiled)
    longest = max((unit for unit in compiled.model.units if unit.id in coming), key=_work, default=None)
    if longest is not None and len(compiled.model.units) > 1:
        yield Variant(f"without unit {longest.id} (the longest)", Without(frozenset({longest.id})))


def _work(unit: ModelUnit) -> float:
    return sum(stage.law.mean for stage in unit.stages if stage.name != LATE)


def pool_word(pool: str) -> str:
    """Return what one of a pool is called in a sentence."""
    if pool.startswith("cable:"):
        return f"cable of type {pool.removeprefix('cable:')}"
    return "helper" if pool == TECHNICIAN else pool
