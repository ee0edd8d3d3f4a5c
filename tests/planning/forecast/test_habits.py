"""What earlier days say of crews and batteries: real days at speed 1 alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchday.domain.entries import Draft, Entry, Times
from benchday.domain.kinds import ChargeWanted, DayBegun, PlaceGranted, UnitAbsent, UnitArrived, UnitExpected
from benchday.planning.forecast.habits import Habits, habits_of
from tests.planning.forecast.lived import CAME

MINUTE_US = 60_000_000
CREW = ("Saltmere Levels", "Avocet")


def begun(*, simulated: bool = False, speed: int = 1000) -> Draft:
    """Begin a day."""
    facts = DayBegun(
        day="d", date="2026-06-16", opens_us=0, closes_us=1, time_zone="UTC", simulated=simulated, seed=1,
        speed_milli=speed,
    )  # fmt: skip
    return facts.draft()


def expected(serial: str, minute: int | None = 60) -> Draft:
    """Expect a unit."""
    at_us = None if minute is None else minute * MINUTE_US
    facts = UnitExpected(
        model="Millrace", customer=CREW[0], crew=CREW[1], role="rover", arrives_us=at_us, promised_us=None,
        support_until=None, contact_ref=None, note_ref=None, position=0,
    )  # fmt: skip
    return facts.draft(unit=serial)


def came(serial: str) -> Draft:
    """Let a unit come."""
    return UnitArrived(checked_in=CAME).draft(unit=serial)


def entries(told: Sequence[tuple[int, Draft]]) -> Iterator[Entry]:
    """Forge the entries at these minutes."""
    prev = bytes(32)
    for seq, (minute, draft) in enumerate(told, 1):
        us = minute * MINUTE_US
        entry = Entry.forge(draft, bench="bench-1", seq=seq, times=Times(us, us, us), prev=prev)
        prev = entry.digest
        yield entry


def habits(*told: tuple[int, Draft]) -> Habits:
    """Read them."""
    return habits_of(entries(told))


def test_a_crews_lateness_is_one_figure_a_day_and_never_early() -> None:
    day = [(0, begun()), (0, expected("A")), (0, expected("B")), (70, came("A")), (80, came("B"))]
    early = [(0, begun()), (0, expected("A")), (50, came("A"))]
    assert habits(*day, *early).late == {CREW: (15.0, 0.0)}


def test_one_without_a_time_is_not_late() -> None:
    assert habits((0, begun()), (0, expected("A", None)), (70, came("A"))).late == {}


def test_who_stays_away_is_counted_by_customer() -> None:
    away = UnitAbsent(reason="it was not brought in").draft(unit="B")
    found = habits((0, begun()), (0, expected("A")), (0, expected("B")), (60, came("A")), (90, away))
    assert found.absent == {CREW[0]: (1, 2)}
    assert found.not_coming(CREW[0]) == 2 / 52


def test_a_battery_counts_as_found_low_only_at_a_station() -> None:
    wanted = ChargeWanted(percent=60, why="low")
    station = PlaceGranted(pool="station", place="S1")
    told = [(0, begun()), *((0, expected(s)) for s in "AB"), *((60, came(s)) for s in "AB")]
    told += [(61, wanted.draft(unit="A")), (90, station.draft(unit="A")), (95, station.draft(unit="B"))]
    told += [(99, wanted.draft(unit="B"))]
    found = habits(*told)
    assert found.low == (1, 2)
    assert found.low_battery == 2 / 22


def test_simulated_days_and_other_speeds_teach_nothing() -> None:
    for first in (begun(simulated=True), begun(speed=2000)):
        assert habits((0, first), (0, expected("A")), (70, came("A"))) == Habits()
