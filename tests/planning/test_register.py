"""The register: what the entries of a whole record say of each unit."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchday.domain.entries import GENESIS, Entry, Times
from benchday.domain.kinds import (
    DayBegun,
    Facts,
    InputRead,
    PowerRead,
    RecordingPreserved,
    Remedied,
    TermRenewed,
    TermsRead,
    UnitArrived,
    UnitChanged,
    UnitExpected,
    UnitHeld,
    UnitIdentified,
    UnitReady,
    UnitRegistered,
    UnitVerified,
    UnitWalkedIn,
)
from benchday.domain.kinds_unit import CheckedIn
from benchday.planning.register import KINDS, Battery, Registered, folded, register_of
from benchday.planning.terms import Renewed, Supplied, TermSource

UNIT, OTHER = "QM-10442", "QM-10443"


class Record:
    """A record told by hand, of several benches and days."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []
        self._at_us = 0
        self._last: dict[str, Entry] = {}

    def day(self, date: str, bench: str = "b1") -> None:
        """Begin a day."""
        self._at_us = int(datetime.fromisoformat(date).replace(tzinfo=UTC).timestamp()) * 1_000_000
        facts = DayBegun(
            day="Day", date=date, opens_us=0, closes_us=1, time_zone="UTC", simulated=False, seed=1, speed_milli=1000
        )
        self.tell(facts, unit=None, bench=bench)

    def tell(self, facts: Facts, unit: str | None = UNIT, bench: str = "b1") -> None:
        """Append an entry."""
        self._at_us += 1_000_000
        last = self._last.get(bench)
        seq, prev = (last.seq + 1, last.digest) if last else (1, GENESIS)
        times = Times(self._at_us, self._at_us, self._at_us)
        entry = Entry.forge(facts.draft(unit=unit), bench=bench, seq=seq, times=times, prev=prev)
        self._last[bench] = entry
        self.entries.append(entry)

    def unit(self, serial: str = UNIT) -> Registered:
        """Return what the register says of a unit."""
        return register_of(self.entries)[serial]


def expected(**changed: Any) -> UnitExpected:
    """Return a row of the roster."""
    facts: dict[str, Any] = {"model": "Millrace", "customer": "Fen Trust", "crew": "Avocet", "role": "rover"}
    facts |= {"arrives_us": None, "promised_us": None, "support_until": "2026-06-30", "position": 0}
    return UnitExpected(**{**facts, "contact_ref": "9:9f", "note_ref": None, **changed})


def checked_in(percent: int | None = 80) -> CheckedIn:
    """Return what was written down."""
    consent = dict.fromkeys(("consent_release", "consent_erase", "consent_copy"), True)
    return CheckedIn(
        brought_by_ref="1:1f", condition_ref=None, missing=[], keep_days=90, charge_percent=percent, **consent
    )


def identified(release: str | None = "2.8", **changed: Any) -> UnitIdentified:
    """Return what the unit says it is."""
    facts: dict[str, Any] = {
        "serial": UNIT,
        "model": "Millrace",
        "hardware": "B",
        "mode": "run",
        "options": [],
        "term": None,
        "by": "driver",
    }
    return UnitIdentified.model_validate({**facts, "release": release, **changed})


def power(full_mwh: int | None, percent: int = 70) -> PowerRead:
    """Return what the unit says of its battery."""
    return PowerRead(
        charge_percent=percent, max_error_percent=2, full_mwh=full_mwh, temperature_dk=None, external=False, by="driver"
    )


def registered(**changed: Any) -> UnitRegistered:
    """Return a row of a list that was read in."""
    facts: dict[str, Any] = {
        "source": "list.csv",
        "line": 2,
        "model": "Millrace",
        "customer": "",
        "crew": "",
        "role": "",
    }
    facts |= {"release": None, "support_until": None, "serviced": None, "made": None}
    return UnitRegistered(**{**facts, **changed})


def verified(release: str) -> UnitVerified:
    """Return a verified write."""
    return UnitVerified(release=release, settings_same=True, differences=[], self_test="passed", sky="fixed")


@pytest.fixture
def record() -> Record:
    """Give a record with one served unit."""
    told = Record()
    told.day("2025-06-16")
    told.tell(expected())
    told.tell(UnitArrived(checked_in=checked_in()))
    told.tell(identified("2.8", term="2026-12-31"))
    told.tell(power(30_000))
    told.tell(RecordingPreserved(name="0731A.obs", bytes=1200, sha256="3d" * 32))
    told.tell(verified("2.10"))
    told.tell(UnitReady(words=""))
    return told


def test_a_served_unit(record: Record) -> None:
    """Everything that the day told of it, and nothing personal."""
    unit = record.unit()
    assert (unit.model, unit.customer, unit.crew, unit.role) == ("Millrace", "Fen Trust", "Avocet", "rover")
    assert (unit.release, unit.release_on, unit.last_service) == ("2.10", "2025-06-16", "2025-06-16")
    assert unit.term == ("2026-12-31", TermSource.UNIT)
    assert (unit.recordings, unit.recordings_bytes, unit.days_served, unit.holds) == (1, 1200, 1, 0)
    assert unit.battery is not None
    assert (unit.battery.arrived_percent, unit.battery.last_mwh) == (80, 30_000)
    assert "9f" not in repr(unit)


def test_over_the_years(record: Record) -> None:
    """The battery loses a tenth in a year; the release stays the one of the first day."""
    record.day("2026-06-16")
    record.tell(expected(crew="Knot"))
    record.tell(UnitArrived(checked_in=checked_in(None)))
    record.tell(identified("2.10"))
    record.tell(power(27_000, 55))
    record.tell(power(26_000, 40))
    record.tell(UnitHeld(code="power", reason="too little charge", lifts="charge it"))
    unit = record.unit()
    assert (unit.crew, unit.release_on, unit.last_service) == ("Knot", "2025-06-16", "2025-06-16")
    assert (unit.days_served, unit.holds) == (1, 1)
    battery = unit.battery
    assert battery is not None
    assert (battery.readings, battery.before_mwh, battery.last_mwh, battery.arrived_percent) == (2, 30_000, 27_000, 55)
    assert battery.permille_a_year == -100


def test_a_shop_pack_is_not_the_units_own(record: Record) -> None:
    """Once one may have been fitted, readings say nothing of the unit's battery."""
    record.day("2026-06-16")
    record.tell(expected())
    record.tell(Remedied(remedy="pack", pack="P1"))
    record.tell(power(31_000))
    battery = record.unit().battery
    assert battery is not None
    assert (battery.readings, battery.last_mwh, battery.arrived_percent) == (1, 30_000, 80)


def test_a_swapped_unit_tells_nothing_of_this_one(record: Record) -> None:
    """What was read from a unit with another serial is not this unit's."""
    record.day("2026-06-16")
    record.tell(expected())
    record.tell(identified("3.0", serial=OTHER, term="2030-12-31"))
    record.tell(power(10_000))
    unit = record.unit()
    assert (unit.release, unit.unit_term) == ("2.10", "2026-12-31")
    assert unit.battery is not None
    assert unit.battery.readings == 1
    assert OTHER not in register_of(record.entries)


def test_a_boot_loader_tells_no_release(record: Record) -> None:
    """The last known one stays."""
    record.day("2026-06-16")
    record.tell(identified(None, mode="boot"))
    assert record.unit().release == "2.10"


def test_recordings_count_once_a_day(record: Record) -> None:
    """A copy made twice is in the archive once; another day's is another copy."""
    twice = RecordingPreserved(name="0731A.obs", bytes=1200, sha256="3d" * 32)
    record.tell(twice)
    assert record.unit().recordings == 1
    record.day("2026-06-16")
    record.tell(twice)
    assert (record.unit().recordings, record.unit().recordings_bytes) == (2, 2400)


def test_a_walk_in_and_an_edited_roster(record: Record) -> None:
    """Both say whose a unit is."""
    walked = UnitWalkedIn(
        model="Weir",
        customer="Levels Board",
        crew="",
        role="none",
        support_until=None,
        position=9,
        checked_in=checked_in(30),
    )
    record.tell(walked, unit=OTHER)
    record.tell(
        UnitChanged(
            customer="Fen Trust",
            crew="Knot",
            role="base",
            arrives_us=None,
            promised_us=None,
            support_until="2027-01-31",
        )
    )
    units = register_of(record.entries)
    assert (units[OTHER].customer, units[OTHER].model) == ("Levels Board", "Weir")
    assert (units[UNIT].crew, units[UNIT].role, units[UNIT].roster_term) == ("Knot", "base", "2027-01-31")


def test_a_list_fills_what_the_shop_does_not_know(record: Record) -> None:
    """Read in after a day, it does not know better what the shop saw itself."""
    said = {
        "crew": "Dunlin",
        "release": "1.0",
        "support_until": "2020-12-31",
        "made": "2019-03-01",
        "serviced": "2024-05-05",
    }
    record.tell(registered(**said), bench="register")
    unit = record.unit()
    assert (unit.release, unit.term, unit.last_service) == ("2.10", ("2026-12-31", TermSource.UNIT), "2025-06-16")
    assert (unit.crew, unit.customer, unit.made) == ("Dunlin", "Fen Trust", "2019-03-01")


def test_a_list_that_tells_of_a_later_service_knows_better(record: Record) -> None:
    """The unit was served somewhere else since."""
    record.tell(registered(release="3.0", serviced="2025-11-01"), bench="register")
    unit = record.unit()
    assert (unit.release, unit.release_on, unit.last_service) == ("3.0", "2025-11-01", "2025-11-01")


def test_a_later_day_knows_better_than_a_list() -> None:
    """The unit itself is asked."""
    record = Record()
    record.day("2025-01-01", bench="register")
    said = {"release": "2.0", "serviced": "2024-01-01", "support_until": "2030-12-31", "crew": "Dunlin"}
    record.tell(registered(**said), bench="register")
    assert record.unit().term == ("2030-12-31", TermSource.IMPORTED)
    record.day("2026-06-16")
    record.tell(expected())
    record.tell(identified("2.8", term="2026-12-31"))
    unit = record.unit()
    assert (unit.crew, unit.release, unit.release_on) == ("Avocet", "2.8", "2026-06-16")
    assert unit.term == ("2026-12-31", TermSource.UNIT)
    assert unit.last_service == "2024-01-01"


def test_terms_from_all_sides(record: Record) -> None:
    """A renewal counts until the unit is read again; the list and the roster where nobody else says one."""
    terms = TermsRead(
        supplier="Fenmark",
        as_of="2025-06-01",
        from_copy=False,
        sha256="",
        terms={UNIT: "2027-03-31", OTHER: "2028-03-31"},
    )
    record.tell(terms, unit=None)
    record.tell(TermRenewed(before=None, until="2028-12-31", evidence_ref="1:2"))
    units = register_of(record.entries)
    assert units[UNIT].term == ("2028-12-31", TermSource.RENEWAL)
    assert units[OTHER].term == ("2028-03-31", TermSource.SUPPLIER)
    record.tell(identified("2.10", term="2028-12-31"))
    sources = record.unit().sources
    assert record.unit().term == ("2028-12-31", TermSource.UNIT)
    assert sources.renewed == Renewed("2028-12-31", read_since=True)
    assert sources.supplier == Supplied("2027-03-31", "Fenmark", "2025-06-01")


def test_several_benches(record: Record) -> None:
    """Each bench has its own day; a unit may come to either."""
    record.day("2026-03-01", bench="b2")
    record.tell(expected(crew="Knot"), bench="b2")
    record.tell(identified("2.12"), bench="b2")
    record.tell(UnitReady(words=""), bench="b2")
    unit = record.unit()
    assert (unit.release, unit.release_on, unit.days_served) == ("2.12", "2026-03-01", 2)


def test_the_last_image_list(record: Record) -> None:
    """It is what releases are compared with."""
    image: Mapping[str, Any] = {
        "file": "m.fen", "release": "3.1", "issued": "2026-05-11", "sha256": "0" * 64, "bytes": 9,
        "models": ["Millrace"], "source": "maker", "approved_by": "Ines",
    }  # fmt: skip
    record.tell(InputRead(name="images.yaml", sha256="", says={"images": [image]}), unit=None)
    record.tell(InputRead(name="day.yaml", sha256="", says={}), unit=None)
    register = folded(record.entries)
    assert [i.release for i in register.images] == ["3.1"]
    assert (register.images_on, register.last_day) == ("2025-06-16", "2025-06-16")
    assert folded([]).images == ()


def test_only_the_kinds_that_are_named_matter(record: Record) -> None:
    """Whoever reads only those gets the same register."""
    assert register_of(e for e in record.entries if e.kind in KINDS) == register_of(record.entries)


@pytest.mark.parametrize("readings", [[], [(0, 30_000)], [(0, 30_000), (0, 29_000)]])
def test_no_trend_from_one_day(readings: list[tuple[int, int]]) -> None:
    """Two readings of a day say nothing of a year."""
    battery = Battery()
    for day, mwh in readings:
        battery.read(730_000 + day, mwh)
    assert battery.permille_a_year is None


@given(st.integers(20_000, 60_000), st.integers(-20, 0), st.lists(st.integers(1, 900), min_size=1, unique=True))
def test_a_steady_loss_is_found(first: int, a_day: int, days: list[int]) -> None:
    """Readings on a straight line give that line's slope."""
    battery = Battery()
    for day in (0, *sorted(days)):
        battery.read(738_000 + day, first + a_day * day)
    assert battery.permille_a_year == pytest.approx(a_day * 365.25 * 1000 / first, abs=0.51)
    assert json.dumps(battery.permille_a_year)
