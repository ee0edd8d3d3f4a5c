"""The shop's register: what the entries of a whole record, all benches and days, say of each unit.

What the shop saw itself (a unit's own reading, a verified write) counts more than a list that was read in, whichever
came first; only a list that tells of a later service knows better. Personal data never gets here.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from sys import intern
from typing import Any

from benchday.domain.entries import Entry
from benchday.domain.releases import Image, ImageList
from benchday.domain.words import is_date
from benchday.planning.terms import Renewed, Supplied, TermSource, TermSources, chosen

KINDS = (
    "day_begun",
    "input_read",
    "terms_read",
    "unit_expected",
    "unit_walked_in",
    "unit_changed",
    "unit_arrived",
    "unit_identified",
    "power_read",
    "remedied",
    "recording_preserved",
    "unit_verified",
    "term_renewed",
    "unit_held",
    "unit_ready",
    "unit_registered",
)
"""The kinds of entries that the register is computed from."""


@dataclass(slots=True)
class Battery:
    """What was read of a unit's battery: once each service day, before a shop pack may have been fitted.

    Sums for a straight line through the readings (least squares, Legendre 1805), so that no reading need be kept.
    """

    readings: int = 0
    """Days on which the full capacity was read."""
    first_day: int = 0
    last_day: int = 0
    """Proleptic ordinals."""
    first_mwh: int = 0
    last_mwh: int = 0
    """Full capacity, milliwatt-hours."""
    before_mwh: int | None = None
    """The reading before the last one."""
    arrived_percent: int | None = None
    """Charge on the last day on which it came."""
    _x: int = 0
    _y: int = 0
    _xx: int = 0
    _xy: int = 0

    def read(self, day: int, full_mwh: int) -> None:
        """Take in a day's reading."""
        if not self.readings:
            self.first_day, self.first_mwh = day, full_mwh
        else:
            self.before_mwh = self.last_mwh
        since = day - self.first_day
        self.readings += 1
        self.last_day, self.last_mwh = day, full_mwh
        self._x, self._y = self._x + since, self._y + full_mwh
        self._xx, self._xy = self._xx + since * since, self._xy + since * full_mwh

    @property
    def over_days(self) -> int:
        """Days from the first to the last reading."""
        return self.last_day - self.first_day

    @property
    def permille_a_year(self) -> int | None:
        """How the full capacity changes in a year, in thousandths of the first reading; None with less than two."""
        spread = self.readings * self._xx - self._x * self._x
        if self.readings < 2 or spread == 0 or self.first_mwh == 0:
            return None
        slope = (self.readings * self._xy - self._x * self._y) / spread
        return round(slope * 365.25 * 1000 / self.first_mwh)


@dataclass(slots=True)
class Registered:
    """One unit as the register knows it. Days are ISO 8601; empty text or None where nobody has said."""

    serial: str
    model: str = ""
    customer: str = ""
    crew: str = ""
    role: str = ""
    hardware: str = ""
    release: str | None = None
    """Last verified or identified; from a list if the shop has never seen it."""
    release_on: str | None = None
    """Day since which it is known to be on this release."""
    last_service: str | None = None
    """Day of the last service that reached its last look, here or as a list says."""
    made: str | None = None
    unit_term: str | None = None
    renewed: Renewed | None = None
    supplied: Supplied | None = None
    roster_term: str | None = None
    imported_term: str | None = None
    recordings: int = 0
    recordings_bytes: int = 0
    """Of whole copies in the archive."""
    battery: Battery | None = None
    days_served: int = 0
    holds: int = 0
    seen_on: str | None = None
    """Day on which the shop last read its release itself."""

    @property
    def term(self) -> tuple[str | None, TermSource | None]:
        """The last day of the support term, and who says so."""
        found = chosen(self.sources)
        if found is not None:
            return found
        return (self.imported_term, TermSource.IMPORTED) if self.imported_term is not None else (None, None)

    @property
    def sources(self) -> TermSources:
        """All that say a support term, for a day's check."""
        return TermSources(self.renewed, self.unit_term, self.supplied, self.roster_term, self.made)


@dataclass(slots=True)
class _Bench:
    """Where a bench's chain is: the day, and what is known of units for this day only."""

    day: str = ""
    known: set[tuple[str, str]] = field(default_factory=set)
    """(serial, what): what counts once a day."""
    other: set[str] = field(default_factory=set)
    """Units that last reported another serial: what follows was not read from them."""


@dataclass(slots=True)
class Register:
    """All units, and what the record says of releases."""

    units: dict[str, Registered] = field(default_factory=dict)
    images_say: Any = None
    """The last image list that the record has seen, as recorded; None if it has seen none."""
    images_on: str | None = None
    """Day on which it was read."""
    last_day: str | None = None
    """The latest day of the record."""
    _benches: dict[str, _Bench] = field(default_factory=dict)

    @property
    def images(self) -> tuple[Image, ...]:
        """The images of that list."""
        if self.images_say is None:
            return ()
        return ImageList.model_validate_json(json.dumps(self.images_say)).images

    def apply(self, entry: Entry) -> None:
        """Take in the next entry; those of each bench in chain order."""
        bench = self._benches.setdefault(entry.bench, _Bench())
        of_record = _OF_RECORD.get(entry.kind)
        if of_record is not None:
            of_record(self, bench, entry)
            return
        of_unit = _OF_UNIT.get(entry.kind)
        if of_unit is not None and entry.unit is not None:
            of_unit(self.unit(entry.unit), bench, entry)

    def unit(self, serial: str) -> Registered:
        """Return the unit, a new one if it is not known yet."""
        found = self.units.get(serial)
        if found is None:
            found = self.units[serial] = Registered(serial)
        return found


def register_of(entries: Iterable[Entry]) -> Mapping[str, Registered]:
    """Return what the entries of a record say of each unit, by serial."""
    return folded(entries).units


def folded(entries: Iterable[Entry]) -> Register:
    """Return the register of these entries: of all benches, those of each in chain order."""
    register = Register()
    for entry in entries:
        register.apply(entry)
    return register


def _begun(register: Register, bench: _Bench, entry: Entry) -> None:
    bench.day = intern(entry.facts["date"])
    bench.known.clear()
    bench.other.clear()
    register.last_day = max(register.last_day or "", bench.day)


def _input(register: Register, bench: _Bench, entry: Entry) -> None:
    if entry.facts["name"] == "images.yaml":
        register.images_say, register.images_on = entry.facts["says"], _day(bench, entry)


def _terms(register: Register, _: _Bench, entry: Entry) -> None:
    f = entry.facts
    for serial, last_day in f["terms"].items():
        supplied = Supplied(intern(last_day), intern(f["supplier"]), intern(f["as_of"]), f["from_copy"])
        register.unit(serial).supplied = supplied


def _day(bench: _Bench, entry: Entry) -> str:
    return bench.day or intern(datetime.fromtimestamp(entry.at_us / 1_000_000, UTC).date().isoformat())


def _expected(unit: Registered, bench: _Bench, entry: Entry) -> None:
    f = entry.facts
    unit.model = unit.model or intern(f["model"])
    _belonging(unit, bench, entry)


def _belonging(unit: Registered, _: _Bench, entry: Entry) -> None:
    f = entry.facts
    unit.customer, unit.crew, unit.role = intern(f["customer"]), intern(f["crew"]), intern(f["role"])
    unit.roster_term = _either(f["support_until"], unit.roster_term)


def _walked_in(unit: Registered, bench: _Bench, entry: Entry) -> None:
    _expected(unit, bench, entry)
    _arrived(unit, bench, entry)


def _arrived(unit: Registered, bench: _Bench, entry: Entry) -> None:
    percent = entry.facts["checked_in"]["charge_percent"]
    if percent is not None:
        _battery(unit).arrived_percent = percent
        bench.known.add((unit.serial, "charge"))


def _identified(unit: Registered, bench: _Bench, entry: Entry) -> None:
    f = entry.facts
    if f["serial"] != unit.serial:
        bench.other.add(unit.serial)
        return
    bench.other.discard(unit.serial)
    unit.model = intern(f["model"]) or unit.model
    unit.hardware = intern(f["hardware"]) or unit.hardware
    _on_release(unit, f["release"], _day(bench, entry))
    if is_date(f["term"]):  # a record of an older program may hold other words
        unit.unit_term = intern(f["term"])
        if unit.renewed is not None:
            unit.renewed = Renewed(unit.renewed.until, read_since=True)


def _on_release(unit: Registered, release: str | None, day: str) -> None:
    if release is None:
        return
    unit.seen_on = day
    if release != unit.release:
        unit.release, unit.release_on = intern(release), day


def _power(unit: Registered, bench: _Bench, entry: Entry) -> None:
    f = entry.facts
    if unit.serial in bench.other:
        return
    if _first(unit, bench, "charge"):
        _battery(unit).arrived_percent = f["charge_percent"]
    if f["full_mwh"] is not None and _first(unit, bench, "capacity"):
        _battery(unit).read(date.fromisoformat(_day(bench, entry)).toordinal(), f["full_mwh"])


def _remedied(unit: Registered, bench: _Bench, entry: Entry) -> None:
    # From here on another pack is read.
    if entry.facts["pack"]:
        bench.known |= {(unit.serial, "charge"), (unit.serial, "capacity")}


def _first(unit: Registered, bench: _Bench, what: str) -> bool:
    """Tell whether this is the first of its sort today."""
    if (unit.serial, what) in bench.known:
        return False
    bench.known.add((unit.serial, what))
    return True


def _battery(unit: Registered) -> Battery:
    if unit.battery is None:
        unit.battery = Battery()
    return unit.battery


def _preserved(unit: Registered, bench: _Bench, entry: Entry) -> None:
    # Tried twice, a recording is in the archive once.
    if _first(unit, bench, f"recording {entry.facts['sha256']}"):
        unit.recordings += 1
        unit.recordings_bytes += entry.facts["bytes"]


def _verified(unit: Registered, bench: _Bench, entry: Entry) -> None:
    _on_release(unit, entry.facts["release"], _day(bench, entry))


def _renewed(unit: Registered, _: _Bench, entry: Entry) -> None:
    unit.renewed = Renewed(intern(entry.facts["until"]))


def _held(unit: Registered, _: _Bench, __: Entry) -> None:
    unit.holds += 1


def _ready(unit: Registered, bench: _Bench, entry: Entry) -> None:
    day = _day(bench, entry)
    # Recalled, a unit is ready twice on a day.
    if _first(unit, bench, "service"):
        unit.days_served += 1
    unit.last_service = max(unit.last_service or "", day)


def _registered(unit: Registered, _: _Bench, entry: Entry) -> None:
    f = entry.facts
    serviced = f["serviced"]
    # A list knows a release better than the shop only if it tells of a later service somewhere else.
    later = unit.seen_on is None or (serviced is not None and serviced > unit.seen_on)
    unit.model = unit.model or intern(f["model"])
    unit.customer = intern(f["customer"]) or unit.customer
    unit.crew = intern(f["crew"]) or unit.crew
    unit.role = intern(f["role"]) or unit.role
    if f["release"] is not None and later and f["release"] != unit.release:
        unit.release, unit.release_on = intern(f["release"]), _either(serviced, None)
    if serviced is not None and serviced > (unit.last_service or ""):
        unit.last_service = intern(serviced)
    unit.imported_term = _either(f["support_until"], unit.imported_term)
    unit.made = _either(f["made"], unit.made)


def _either(said: str | None, before: str | None) -> str | None:
    return intern(said) if said is not None else before


_OF_RECORD: dict[str, Callable[[Register, _Bench, Entry], None]] = {
    "day_begun": _begun,
    "input_read": _input,
    "terms_read": _terms,
}
_OF_UNIT: dict[str, Callable[[Registered, _Bench, Entry], None]] = {
    "unit_expected": _expected,
    "unit_walked_in": _walked_in,
    "unit_changed": _belonging,
    "unit_arrived": _arrived,
    "unit_identified": _identified,
    "power_read": _power,
    "remedied": _remedied,
    "recording_preserved": _preserved,
    "unit_verified": _verified,
    "term_renewed": _renewed,
    "unit_held": _held,
    "unit_ready": _ready,
    "unit_registered": _registered,
}
