"""What earlier days say besides durations: how late crews come, who does not come, how often a battery is found low.

Only real days at speed 1 teach. Where there is too little to go by, the defaults below hold, and the forecast says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from benchday.domain.entries import Entry
from benchday.planning.durations import ENOUGH_RECORDS, WORST_SEEN_TIMES, Pert, quantile
from benchday.planning.wording import MINUTE_US

USUALLY_LATE = Pert(0, 5, 30)
"""Minutes after the time on the roster, where a crew's own arrivals say too little; common practice, no source."""
ENOUGH_ARRIVALS = 3
"""With fewer days on which a crew came, the default holds."""
KINDS = (
    "day_begun",
    "unit_expected",
    "unit_arrived",
    "unit_absent",
    "unit_walked_in",
    "place_granted",
    "charge_wanted",
)
"""The kinds of entries that this is computed from."""


@dataclass(frozen=True, slots=True)
class Chance:
    """How often something happened, with what is supposed before anything was seen: a Beta law's two counts."""

    before: float
    """Cases supposed in which it happened."""
    before_of: float
    """Of so many supposed cases."""
    seen: int = 0
    of: int = 0

    @property
    def mean(self) -> float:
        """Mean of the Beta law after what was seen (Gelman et al., Bayesian Data Analysis, 2.4)."""
        return (self.before + self.seen) / (self.before_of + self.of)


NOT_COMING = Chance(1, 50)
"""2 in 100 expected units do not come; common practice, no source."""
LOW_BATTERY = Chance(1, 20)
"""5 in 100 units that can only be charged are found short of power at a station; common practice, no source."""

Crew = tuple[str, str]
"""Customer and crew."""


@dataclass(frozen=True, slots=True)
class Habits:
    """What is to be expected of crews and batteries."""

    late: Mapping[Crew, tuple[float, ...]] = field(default_factory=dict)
    """Minutes after the roster's time, one for each day on which a crew came."""
    absent: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    """Customer -> units that did not come, of so many expected."""
    low: tuple[int, int] = (0, 0)
    """Visits to a station that ended in charging, of so many."""

    def lateness(self, customer: str, crew: str) -> Pert:
        """Return how late a crew's units come, minutes."""
        seen = self.late.get((customer, crew), ())
        if len(seen) < ENOUGH_ARRIVALS:
            return USUALLY_LATE
        longest = max(seen) * (1 if len(seen) >= ENOUGH_RECORDS else WORST_SEEN_TIMES)
        return Pert(min(seen), quantile(seen, 0.5), longest)

    def known(self, customer: str, crew: str) -> bool:
        """Tell whether a crew's own arrivals are gone by."""
        return len(self.late.get((customer, crew), ())) >= ENOUGH_ARRIVALS

    def not_coming(self, customer: str) -> float:
        """Return the chance that a unit of a customer does not come."""
        return Chance(NOT_COMING.before, NOT_COMING.before_of, *self.absent.get(customer, (0, 0))).mean

    @property
    def low_battery(self) -> float:
        """The chance that a unit is found short of power at its station."""
        return Chance(LOW_BATTERY.before, LOW_BATTERY.before_of, *self.low).mean


@dataclass(slots=True)
class _Unit:
    customer: str
    crew: str
    arrives_us: int | None
    served: bool = False
    """It has been on a station today."""


@dataclass(slots=True)
class _Reading:
    """Where the reading of a chain is."""

    teaches: bool = False
    units: dict[str, _Unit] = field(default_factory=dict)
    late: dict[Crew, list[float]] = field(default_factory=dict)
    """Of the day that is read."""
    days: dict[Crew, list[float]] = field(default_factory=dict)
    absent: dict[str, list[int]] = field(default_factory=dict)
    low: list[int] = field(default_factory=lambda: [0, 0])

    def end_day(self) -> None:
        """Keep one figure for each crew that came."""
        for crew, minutes in self.late.items():
            self.days.setdefault(crew, []).append(sum(minutes) / len(minutes))
        self.late.clear()
        self.units.clear()


def habits_of(entries: Iterable[Entry]) -> Habits:
    """Return what the entries of a record say; those of each bench in chain order."""
    benches: dict[str, _Reading] = {}
    first = _Reading()
    for entry in entries:
        reading = benches.get(entry.bench)
        if reading is None:
            reading = benches[entry.bench] = _Reading(days=first.days, absent=first.absent, low=first.low)
        _take(reading, entry)
    for reading in benches.values():
        reading.end_day()
    return Habits(
        {crew: tuple(days) for crew, days in first.days.items()},
        {customer: (counts[0], counts[1]) for customer, counts in first.absent.items()},
        (first.low[0], first.low[1]),
    )


def _take(reading: _Reading, entry: Entry) -> None:
    facts = entry.facts
    if entry.kind == "day_begun":
        reading.end_day()
        reading.teaches = not facts["simulated"] and facts["speed_milli"] == 1000
    elif reading.teaches and entry.unit is not None:
        if entry.kind in ("unit_expected", "unit_walked_in"):
            reading.units[entry.unit] = _Unit(facts["customer"], facts["crew"], facts.get("arrives_us"))
        elif (unit := reading.units.get(entry.unit)) is not None:
            _of_unit(reading, unit, entry)


def _of_unit(reading: _Reading, unit: _Unit, entry: Entry) -> None:
    if entry.kind in ("unit_arrived", "unit_absent"):
        counts = reading.absent.setdefault(unit.customer, [0, 0])
        counts[0] += entry.kind == "unit_absent"
        counts[1] += 1
    if entry.kind == "unit_arrived" and unit.arrives_us is not None:
        minutes = max(0, entry.at_us - unit.arrives_us) / MINUTE_US
        reading.late.setdefault((unit.customer, unit.crew), []).append(minutes)
    elif entry.kind == "place_granted" and entry.facts["pool"] == "station":
        unit.served = True
        reading.low[1] += 1
    elif entry.kind == "charge_wanted" and unit.served:
        reading.low[0] += 1
