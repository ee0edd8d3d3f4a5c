"""The day as a face shows it: stations, units waiting and held, computed from the state; nothing is kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo

from benchday.bench.ticks import Tick
from benchday.domain.bench import BenchFile
from benchday.domain.clean import clean
from benchday.domain.fold import DayState
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.domain.telling.figures import clock
from benchday.planning.forecast.outlook import Outlook
from benchday.planning.wording import MINUTE_US, in_percent


@dataclass(frozen=True, slots=True)
class StationView:
    """One station now."""

    name: str
    unit: str | None = None
    model: str = ""
    crew: str = ""
    step: str = ""
    """The step, or the state of a unit that still stands there: held, ready, waiting."""
    what: str = ""
    """What a long operation is doing: sending, flashing, fetching."""
    percent: int | None = None
    until_us: int | None = None
    """Day time at which the step is expected to end."""
    item: str | None = None
    """Id of the first open item about the unit: it waits for hands."""
    place: str = ""
    """Its cable or adapter."""
    runs: str = ""
    """How long a write that a person watches has run, of how long it usually takes."""


@dataclass(frozen=True, slots=True)
class AsideView:
    """A unit that waits, or is held."""

    serial: str
    model: str
    crew: str
    state: str
    reason: str
    lifts: str = ""
    station: str | None = None


def stations(
    state: DayState, bench: BenchFile, ticks: Mapping[str, Tick] | None = None, now_us: int | None = None
) -> tuple[StationView, ...]:
    """Return every station of the bench, in its order."""
    return tuple(_station(state, s.name, ticks or {}, now_us or state.at_us) for s in bench.stations)


def _station(state: DayState, name: str, ticks: Mapping[str, Tick], now_us: int) -> StationView:
    serial = state.holder("station", name)
    story = state.units.get(serial or "")
    if story is None:
        return StationView(name)
    tick = ticks.get(story.serial)
    item = next((i.item.id for i in state.open_items() if i.item.unit == story.serial), None)
    places = [place for pool, place in story.places.items() if pool != "station"]
    return StationView(
        name=name,
        unit=clean(story.serial),
        model=clean(story.model),
        crew=clean(story.crew),
        step=story.state.value,
        what=clean(tick.what) if tick else "",
        percent=100 * tick.done // max(tick.of, 1) if tick else None,
        until_us=_until(story, tick, now_us) if item is None and story.on_station else None,
        item=item,
        place=", ".join(places),
        runs=_runs(story, tick, now_us) if item is not None and tick is not None else "",
    )


def _runs(story: UnitStory, tick: Tick, now_us: int) -> str:
    if story.state is not State.WRITE:
        return ""
    return f"{max(now_us - tick.first_us, 0) // MINUTE_US} of about {story.step_expected_us // MINUTE_US} min"


def _until(story: UnitStory, tick: Tick | None, now_us: int) -> int | None:
    """Return the later of what the step usually takes and what its progress so far says."""
    if not story.step_expected_us:
        return None
    usual = story.step_since_us + story.step_expected_us
    if tick is not None and tick.done and tick.at_us > tick.first_us:
        usual = max(usual, tick.at_us + (tick.at_us - tick.first_us) * (tick.of - tick.done) // tick.done)
    return usual if usual > now_us else None


def waiting(state: DayState, reasons: Mapping[str, str]) -> tuple[AsideView, ...]:
    """Return the units that wait for a place or charge, those who asked first leading."""
    found = [u for u in state.units.values() if u.state in (State.WAITING, State.CHARGING) and u.station is None]
    found.sort(key=lambda u: (u.waiting_since_us, u.position))
    return tuple(
        AsideView(clean(u.serial), clean(u.model), clean(u.crew), u.state.value, clean(_why_waiting(u, reasons)))
        for u in found
    )


def _why_waiting(story: UnitStory, reasons: Mapping[str, str]) -> str:
    if story.not_today:
        return f"not today: {story.not_today}"
    if story.state is State.CHARGING:
        return f"on charger {story.places.get('charger', '')}".strip()
    if story.charge_wanted_percent is not None:
        return f"for a charger, to {story.charge_wanted_percent} %"
    return reasons.get(story.serial, "for a station")


def held(state: DayState) -> tuple[AsideView, ...]:
    """Return the held units, with the reason and what would lift each."""
    return tuple(
        AsideView(
            clean(u.serial),
            clean(u.model),
            clean(u.crew),
            u.state.value,
            clean(u.held_reason or ""),
            clean(u.held_lifts or ""),
            u.station,
        )
        for u in state.units.values()
        if u.state is State.HELD
    )


def counts(state: DayState) -> dict[str, int]:
    """Return how many units are in each state, in the order of a unit's way; none where none is."""
    counted = Counter(u.state for u in state.units.values())
    return {s.value: counted[s] for s in State if counted[s]}


def foreseen(outlook: Outlook, zone: tzinfo) -> Iterator[str]:
    """Yield how the day will end, a sentence a line."""
    ends = [clock(at, zone) for at in (outlook.p50_us, outlook.p80_us, outlook.p95_us)]
    yield f"Everything is done by {ends[0]} in half of the drawn days, {ends[1]} in 80 of 100, {ends[2]} in 95 of 100."
    yield f"It is done before closing in {in_percent(outlook.by_closing)} of them."
    for crew in outlook.crews:
        ready = f"ready by {clock(crew.ready_us, zone)} in 80 of 100" if crew.ready_us else "not ready before closing"
        promise = ""
        if crew.promised_us is not None and crew.holds is not None:
            promise = f"; promised {clock(crew.promised_us, zone)}, which holds in {in_percent(crew.holds)}"
        yield clean(f"{crew.title}: {ready}{promise}{'  AT RISK' if crew.at_risk else ''}")
    if outlook.not_begun:
        yield f"Closing will probably keep from a write: {', '.join(map(clean, outlook.not_begun))}."
