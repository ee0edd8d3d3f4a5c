"""A hand-made day: two units of a crew, told as the entries that a bench would append."""

from __future__ import annotations

from collections.abc import Iterable

from benchday.domain.entries import GENESIS, Draft, Entry, Times
from benchday.domain.kinds import (
    ActEnded,
    ActSpent,
    Checked,
    ClockAnchored,
    DayBegun,
    Facts,
    InputRead,
    LineStopped,
    OperatorActing,
    PermitGiven,
    PlaceFreed,
    PlaceGranted,
    ProgramStarted,
    RecordingPreserved,
    RecordingsListed,
    SettingsSaved,
    StepBegun,
    TargetSet,
    UnitArrived,
    UnitExpected,
    UnitHandedBack,
    UnitHeld,
    UnitIdentified,
    UnitReady,
    UnitVerified,
)
from benchday.domain.kinds_unit import CheckedIn

MINUTE_US = 60_000_000
BASE, ROVER = "QM-10442", "QM-10443"
RECORDING = {"name": "0731A.obs", "bytes": 1200, "sha256": "3d" * 32}
PERMIT = "9c" * 32
IMAGE = "1f" * 32


class Telling:
    """Appends entries as a bench does: one a minute, each bound to the one before."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    def tell(self, facts: Facts, unit: str | None = None, operator: str | None = None) -> Entry:
        """Append one entry."""
        return self.add(facts.draft(unit=unit, station="1" if unit else None, operator=operator))

    def add(self, draft: Draft) -> Entry:
        """Append a draft of any kind."""
        seq = len(self.entries) + 1
        at = seq * MINUTE_US
        prev = self.entries[-1].digest if self.entries else GENESIS
        entry = Entry.forge(draft, bench="b1", seq=seq, times=Times(at, at, at), prev=prev)
        self.entries.append(entry)
        return entry

    def steps(self, unit: str, names: Iterable[str]) -> None:
        """Begin steps one after the other."""
        for name in names:
            self.tell(StepBegun(step=name, tries=1, expected_us=2 * MINUTE_US), unit)


def begin() -> Telling:
    """Begin the day with two units on the roster."""
    day = Telling()
    day.tell(ProgramStarted(program="0.1.0", sha256="ab" * 32, python="3.11", sqlite="3.40", pid=1, host="bench"))
    day.tell(
        DayBegun(
            day="Spring service day",
            date="2026-03-31",
            opens_us=0,
            closes_us=600 * MINUTE_US,
            time_zone="Europe/London",
            simulated=True,
            seed=1,
            speed_milli=1000,
        )
    )
    day.tell(ClockAnchored(at_us=3 * MINUTE_US, wall_us=3 * MINUTE_US, speed_milli=1000))
    day.tell(InputRead(name="bench.yaml", sha256="00" * 32, says={}))
    day.tell(OperatorActing(name="Ada", by="person"), operator="Ada")
    for position, serial in enumerate((BASE, ROVER)):
        day.tell(_expected(position), serial)
    return day


def _expected(position: int) -> UnitExpected:
    return UnitExpected(
        model="Millrace",
        customer="Saltmere Levels",
        crew="Avocet",
        role="base" if position == 0 else "rover",
        arrives_us=10 * MINUTE_US,
        promised_us=None,
        support_until="2030-12-31",
        contact_ref=None,
        note_ref=None,
        position=position,
    )


def arrive(day: Telling, serial: str) -> None:
    """Check a unit in."""
    checked_in = CheckedIn(
        brought_by_ref=None,
        condition_ref=None,
        missing=[],
        consent_release=True,
        consent_erase=True,
        consent_copy=True,
        keep_days=365,
        charge_percent=80,
    )
    day.tell(UnitArrived(checked_in=checked_in), serial, "Ada")


def to_confirm(day: Telling, serial: str) -> None:
    """Serve a unit up to its confirmation."""
    for pool, place in (("station", "1"), ("cable:round", "R1")):
        day.tell(PlaceGranted(pool=pool, place=place), serial)
    day.steps(serial, ("connect", "identify"))
    day.tell(identified(serial, "2.9"), serial)
    day.steps(serial, ("check",))
    day.tell(TargetSet(release="2.10", route=["2.10"], reason_code="newest", reason="2.10 is the newest"), serial)
    day.tell(Checked(findings=[{"check": "power", "answer": "clear", "text": "enough", "figures": {}}]), serial)
    day.steps(serial, ("preserve",))
    day.tell(SettingsSaved(when="before", settings={"role": "base"}, sha256="4c" * 32), serial)
    day.tell(RecordingsListed(recordings=[RECORDING]), serial)
    day.tell(RecordingPreserved(name="0731A.obs", bytes=1200, sha256="3d" * 32), serial)
    day.steps(serial, ("confirm",))
    day.tell(PermitGiven(permit={"unit": serial}, id=PERMIT, shown="Write?"), serial, "Ada")


def identified(serial: str, release: str | None) -> UnitIdentified:
    """Make what a unit says of itself."""
    return UnitIdentified(
        serial=serial, model="Millrace", hardware="C", mode="run", release=release, options=[], term=None, by="driver"
    )


def write(day: Telling, serial: str, outcome: str = "whole") -> None:
    """Write the unit."""
    day.steps(serial, ("write",))
    spent = ActSpent(
        permit=PERMIT, act=0, verb="write image", digest=IMAGE, bytes=4096, release="2.10", simulated_proof=True
    )
    day.tell(spent, serial, "Ada")
    day.tell(ActEnded(permit=PERMIT, act=0, outcome=outcome, bytes=4096, sha256=IMAGE), serial)


def finish(day: Telling, serial: str) -> None:
    """Take a written unit to its hand-back."""
    day.steps(serial, ("restart", "verify"))
    verified = UnitVerified(
        release="2.10", settings_same=True, differences=[], self_test="passed", sky="a fix near the mark"
    )
    day.tell(verified, serial)
    day.tell(PlaceFreed(pool="cable:round", place="R1"), serial)
    day.steps(serial, ("last look",))
    day.tell(UnitReady(words="fine"), serial, "Ada")
    day.tell(PlaceFreed(pool="station", place="1"), serial)
    day.tell(UnitHandedBack(to_ref=None, accessories=["pole"], missing=[]), serial, "Ada")


def hold_and_stop(day: Telling, serial: str) -> None:
    """Hold a unit whose write was cut, and stop the line."""
    day.tell(UnitHeld(code="interrupted", reason="the write was cut", lifts="look at it anew"), serial)
    day.tell(LineStopped(model="Millrace", release="2.10", reason=f"{serial} was interrupted"), serial)
