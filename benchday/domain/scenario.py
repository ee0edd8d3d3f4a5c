"""The demo day: what its simulated instruments start with, and what its people do. Data only."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any, Self

from pydantic import Field, model_validator

from benchday.domain.bench import Pin
from benchday.domain.releases import VersionText
from benchday.domain.sets import SetChoice
from benchday.domain.units import Role
from benchday.domain.words import ClockTime, Expected, FileModel, IsoDate, Name, Percent

Line = Annotated[str, Field(max_length=500)]
"""Text on one line, possibly empty."""


class Coming(StrEnum):
    """How a unit comes to the bench, if it does."""

    ARRIVES = "arrives"
    ABSENT = "absent"
    WALKS_IN = "walks in"


class Starts(FileModel):
    """What a simulated instrument starts the day with."""

    release: VersionText
    hardware: Name
    term: IsoDate | None = None
    """Last day of support that the unit itself knows of."""
    charge_percent: Percent = 80
    recordings: Annotated[tuple[Annotated[int, Field(gt=0, le=4_000_000)], ...], Field(max_length=20)] = ()
    """Size of each recording in bytes, about: observation files, every third one opaque raw bytes."""
    broken_recording: Annotated[int, Field(ge=0)] = 0
    """The recording (from 1) that cannot be read whole; 0 for none."""
    reported_serial: Name | None = None
    """What the unit says where it is not what its label says."""
    settings: dict[str, str] = Field(default_factory=dict)
    """Laid over the factory's."""

    @model_validator(mode="after")
    def _broken_is_there(self) -> Self:
        if self.broken_recording > len(self.recordings):
            found = f"{self.broken_recording}"
            raise Expected(f"one of the {len(self.recordings)} recordings, or 0", found=found, at=("broken_recording",))
        return self

    def overrides(self) -> dict[str, Any]:
        """Return what is handed to the simulator instead of letting it draw."""
        told: dict[str, Any] = {
            "release": self.release,
            "hardware": self.hardware,
            "term": self.term or "",
            "charge_percent": self.charge_percent,
            "recordings": list(self.recordings),
            "broken_recording": self.broken_recording,
            "settings": dict(self.settings),
        }
        return told | ({"reported_serial": self.reported_serial} if self.reported_serial is not None else {})


class BroughtIn(FileModel):
    """What is written down at check-in."""

    brought_by: Name
    condition: Line = "good"
    missing: tuple[Name, ...] = ()
    """Accessories that did not come along."""
    release: bool = True
    """Consent to a new release."""
    erase: bool = True
    """Consent to erasing what is preserved."""
    copying: bool = True
    """Consent to copying recordings."""
    keep_days: Annotated[int, Field(ge=0, le=3650)] = 365
    """How long copies may be kept, in days."""


class LetsGo(FileModel):
    """The owner lets recordings go that cannot be copied."""

    said_by: Name
    how: Name
    """By telephone, in person, in writing."""


class ScenarioUnit(FileModel):
    """One unit of the demo day."""

    shows: Line
    """What it is there to show."""
    serial: Name
    """As it stands on the label."""
    model: Name
    customer: Name
    contact: Line = ""
    crew: Annotated[str, Field(max_length=80)] = ""
    role: Role
    coming: Coming = Coming.ARRIVES
    arrives: ClockTime | None = None
    promised: ClockTime | None = None
    support_until: IsoDate | None = None
    """As the roster has it."""
    note: Line = ""
    brought_in: BroughtIn | None = None
    """None for a unit that does not come."""
    starts: Starts
    lets_go: LetsGo | None = None
    reason_absent: Line = ""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if (self.brought_in is None) != (self.coming is Coming.ABSENT):
            raise Expected("brought_in for every unit that comes, and for no other", found=self.coming.value)
        return self


class TroubleWhen(StrEnum):
    """The moments at which trouble can happen."""

    POWER_ON = "power-on"
    IDENTIFY = "identify"
    RECORDINGS = "recordings"
    SEND = "send"
    IMAGE = "image"
    FLASH = "flash"
    RESTART = "restart"
    TEST = "test"


class TroubleWhat(StrEnum):
    """What can happen to a simulated instrument."""

    CABLE_OUT = "cable out"
    POWER_OUT = "power out"
    SILENT = "silent"
    GARBLED = "garbled"
    WRONG_SERIAL = "wrong serial"
    OLD_VERSION = "old version"
    TEST_FAILS = "test fails"
    SETTINGS_LOST = "settings lost"
    REFUSES = "refuses"
    LAST_ACKNOWLEDGEMENT_LOST = "last acknowledgement lost"


class Trouble(FileModel):
    """One thing that happens to one unit."""

    unit: Name
    when: TroubleWhen
    what: TroubleWhat
    percent: Percent = 0
    """Of the bytes or of the flash."""
    seconds: Annotated[int, Field(ge=0, le=3600)] = 0
    """Real seconds until it is over."""
    times: Annotated[int, Field(ge=1, le=10)] = 1


class LineLift(FileModel):
    """A person lifts a stopped line."""

    unit: Name
    """The unit whose verify stopped it."""
    by: Name
    after_minutes: Annotated[int, Field(ge=0, le=600)]
    """Day time after it was stopped, minutes."""
    reason: Line


class Renewal(FileModel):
    """A support term that is renewed during the day."""

    unit: Name
    at: ClockTime
    until: IsoDate
    evidence: Line
    """What shows it."""


class CrewChoice(FileModel):
    """What people choose for a crew whose set does not come along whole."""

    crew: Name
    choice: SetChoice
    reason: Line


class Scenario(FileModel):
    """demo.yaml"""

    scenario: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$")]
    """Its short name."""
    seed: int
    """What the instruments' drawn properties follow from."""
    units: Annotated[tuple[ScenarioUnit, ...], Field(min_length=1, max_length=60)]
    """The most telling first, so that the first few make a day of their own."""
    trouble: tuple[Trouble, ...] = ()
    lifts: tuple[LineLift, ...] = ()
    renewals: tuple[Renewal, ...] = ()
    choices: tuple[CrewChoice, ...] = ()
    """For crews that are not named, the set is left split."""
    pins: tuple[Pin, ...] = ()
    """For day.yaml."""

    @model_validator(mode="after")
    def _serials(self) -> Self:
        serials = [unit.serial for unit in self.units]
        for number, serial in enumerate(serials):
            if serial in serials[:number]:
                raise Expected("each serial once", found=f"{serial} again", at=("units", number, "serial"))
        for where, named in (
            ("trouble", [t.unit for t in self.trouble]),
            ("lifts", [x.unit for x in self.lifts]),
            ("renewals", [r.unit for r in self.renewals]),
        ):
            for number, serial in enumerate(named):
                if serial not in serials:
                    raise Expected("the serial of one of the units", found=serial, at=(where, number, "unit"))
        return self

    def first(self, count: int) -> Self:
        """Return the day of the first few units alone."""
        kept = self.units[:count]
        serials, crews = {unit.serial for unit in kept}, {unit.crew for unit in kept}
        told = {
            "units": kept,
            "trouble": tuple(t for t in self.trouble if t.unit in serials),
            "lifts": tuple(x for x in self.lifts if x.unit in serials),
            "renewals": tuple(r for r in self.renewals if r.unit in serials),
            "choices": tuple(c for c in self.choices if c.crew in crews),
            "pins": tuple(p for p in self.pins if p.unit in serials or p.crew in crews),
        }
        return self.model_copy(update=told)
