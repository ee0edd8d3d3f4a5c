"""Who may ask for a place now: the gates of the day over its state, as asks for the dispatch policy."""

from __future__ import annotations

from collections.abc import Mapping

from benchday.domain.bench import BenchFile
from benchday.domain.fold import DayState
from benchday.domain.plan import DayPlan
from benchday.domain.sets import SetChoice
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.planning.policy import Ask, in_queue_order

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
    decided = state.sets_decided.get(story.crew, {})
    if decided.get("choice") == SetChoice.WAIT and story.serial in decided["units"]:
        return f"the set of crew {story.crew} waits: {decided['why']}"
    if story.target is None or not story.route:
        return None
    key = (story.model, story.target)
    if key in state.lines_stopped:
        return f"the line {story.model} {story.target} is stopped"
    return unverified_first(state, story, plan)


def unverified_first(state: DayState, story: UnitStory, plan: DayPlan) -> str | None:
    """Say which unit is being written as the first of this model and release; None if there is none to wait for.

    With ``first_off`` the first is verified before a second is begun. Of several that are on stations the one furthest
    on is the first, and of several that wait to be confirmed the one that came there first.
    """
    key = (story.model, story.target)
    if not plan.day.policy.first_off or key in state.verified:
        return None
    ahead = [
        other
        for other in state.units.values()
        if other is not story and (other.model, other.target) == key and _at_station(other) and other.route
    ]
    if story.on_station:
        ahead = [o for o in ahead if o.state in (State.WRITE, State.RESTART, State.VERIFY) or _came_first(o, story)]
    return f"{ahead[0].serial} is the first {story.model} on {story.target} and not verified yet" if ahead else None


def _at_station(story: UnitStory) -> bool:
    """Tell whether a unit is being served, or has just been granted its station."""
    return story.on_station or (story.state is State.WAITING and story.station is not None and not story.sent_off)


def _came_first(other: UnitStory, story: UnitStory) -> bool:
    """Tell whether another unit, too, waits to be confirmed and has for longer."""
    return other.state is story.state is State.CONFIRM and other.since_seq < story.since_seq


def station_asks(state: DayState, plan: DayPlan, now_us: int) -> tuple[Ask, ...]:
    """Return the asks for a station, one for each unit that may be served now."""
    if state.begun is None or now_us >= state.begun["closes_us"]:
        return ()
    asks = [
        Ask(s.serial, STATION, state.turn(s.serial), _asked_us(state, s), s.position)
        for s in state.units.values()
        if s.state is State.WAITING and s.station is None and not s.sent_off and gated(state, s, plan) is None
    ]
    return _one_a_gate(state, plan, in_queue_order(asks))


def _asked_us(state: DayState, story: UnitStory) -> int:
    """Return since when a unit asks: what waited for a gate counts as not having asked before it opened."""
    opened_us = state.opened_us.get((story.model, story.target or ""), 0) if story.route else 0
    return max(story.waiting_since_us, opened_us)


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
        Ask(s.serial, CHARGER, state.turn(s.serial), s.waiting_since_us, s.position)
        for s in state.units.values()
        # It gives its station back before it asks for a charger.
        if s.state is State.WAITING
        and s.station is None
        and s.charge_wanted_percent is not None
        and CHARGER not in s.places
    )


def waiting_reasons(state: DayState, plan: DayPlan) -> Mapping[str, str]:
    """Say for each waiting unit that may not ask for a station why that is."""
    return {
        s.serial: reason
        for s in state.units.values()
        if s.state is State.WAITING and (reason := gated(state, s, plan)) is not None
    }
