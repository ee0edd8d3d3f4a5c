"""Days of a bench, told as entries with chosen times: what durations are learnt from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from benchday.domain.entries import GENESIS, Draft, Entry, Times
from benchday.domain.kinds import (
    ActSpent,
    ClockAnchored,
    DayBegun,
    Facts,
    InputRead,
    ProgramStarted,
    RecordingPreserved,
    StepBegun,
    StepEnded,
    UnitExpected,
    UnitHeld,
)
from benchday.domain.playbook import Playbook

MINUTE_US = 60_000_000
MODEL = "Millrace"


@dataclass(slots=True)
class Teaching:
    """Appends entries of one bench; time passes only when a step takes some."""

    bench: str = "b1"
    entries: list[Entry] = field(default_factory=list)
    at_us: int = 0

    def tell(self, facts: Facts, unit: str | None = None) -> None:
        """Append one entry."""
        draft: Draft = facts.draft(unit=unit, station="S1" if unit else None)
        times = Times(self.at_us, self.at_us, self.at_us)
        made = Entry.forge(draft, bench=self.bench, seq=len(self.entries) + 1, times=times, prev=GENESIS)
        self.entries.append(made)

    def day(self, *units: str, simulated: bool = False, speed: float = 1.0, says: Playbook | None = None) -> None:
        """Begin a day with units of one model."""
        begun = DayBegun(
            day="Day", date="2026-03-31", opens_us=0, closes_us=1, time_zone="UTC", simulated=simulated, seed=1,
            speed_milli=round(speed * 1000),
        )  # fmt: skip
        self.tell(begun)
        if says is not None:
            self.tell(InputRead(name=f"playbook:{says.playbook}", sha256="", says=says.model_dump(mode="json")))
        for unit in units:
            self.tell(
                UnitExpected(
                    model=MODEL, customer="", crew="", role="rover", arrives_us=None, promised_us=None,
                    support_until=None, contact_ref=None, note_ref=None, position=0,
                ),
                unit,
            )  # fmt: skip

    def started(self) -> None:
        """A program starts anew."""
        self.tell(ProgramStarted(program="", sha256="", python="", sqlite="", pid=1, host=""))

    def anchored(self, speed: float) -> None:
        """Day time goes on at this speed."""
        self.tell(ClockAnchored(at_us=self.at_us, wall_us=self.at_us, speed_milli=round(speed * 1000)))

    def begin(self, step: str, unit: str = "U1") -> None:
        """Begin a step."""
        self.tell(StepBegun(step=step, tries=1, expected_us=1), unit)

    def end(self, step: str, minutes: float, unit: str = "U1", outcome: str = "done") -> None:
        """Let so much pass and end a step."""
        took = round(minutes * MINUTE_US)
        self.at_us += took
        self.tell(StepEnded(step=step, outcome=outcome, took_us=took, took_mono_us=took), unit)

    def step(self, step: str, minutes: float, unit: str = "U1", **more: Any) -> None:
        """Begin and end a step."""
        self.begin(step, unit)
        self.end(step, minutes, unit, **more)

    def preserve(self, minutes: float, *sizes: int, unit: str = "U1") -> None:
        """Copy recordings of these sizes."""
        self.begin("preserve", unit)
        for size in sizes:
            self.tell(RecordingPreserved(name="r", bytes=size, sha256="0" * 64), unit)
        self.end("preserve", minutes, unit)

    def write(self, minutes: float, size: int, unit: str = "U1") -> None:
        """Write an image of this size."""
        self.begin("write", unit)
        spent = ActSpent(
            permit="9c", act=0, verb="write image", digest="1f", bytes=size, release="2.10", simulated_proof=False
        )
        self.tell(spent, unit)
        self.end("write", minutes, unit)

    def held(self, unit: str = "U1") -> None:
        """Set a unit aside."""
        self.tell(UnitHeld(code="line", reason="", lifts=""), unit)
