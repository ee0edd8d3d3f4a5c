"""The bench and the day as a person writes them: bench.yaml and day.yaml."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from benchday.domain.mark import Mark
from benchday.domain.ports import check_port
from benchday.domain.releases import VersionText
from benchday.domain.units import Ability
from benchday.domain.words import ClockTime, Expected, FileModel, IsoDate, Money, Name, Percent, PublicKey

PortText = Annotated[str, AfterValidator(check_port)]
"""Where a line is reached."""

FolderName = Annotated[str, Field(min_length=1, max_length=200)]
"""A folder, relative to the day's or absolute."""


class Station(FileModel):
    """A place at which one unit is served."""

    name: Name


class Cable(FileModel):
    """A cable that joins a unit to its station."""

    connector: Name
    """Type of the connector on the unit's side, as the playbooks call it."""
    number: Name
    """What is written on it."""
    port: PortText | None = None
    """Where it appears: /dev/serial/by-id/..., COM7, usb:VID:PID:SERIAL, usb-path:BUS-PORT, socket://host:port,
    rfc2217://host:port. Not for simulated units."""


class Adapter(FileModel):
    """A Wi-Fi adapter, which joins one unit's own network at a time."""

    name: Name
    address: str | None = None
    """Address of the units' own page, like http://192.0.2.1. Not needed for simulated units."""
    interface: Annotated[str, Field(pattern=r"^[A-Za-z0-9._:@-]{1,15}$")] | None = None
    """What the system calls the adapter, like wlan1; whatever is said to its unit leaves through it alone (Linux)."""
    bind: Annotated[str, Field(pattern=r"^[0-9A-Fa-f.:]{2,45}$")] | None = None
    """This computer's own address on that adapter; where the system cannot bind to an interface."""


class Charger(FileModel):
    """A charger: charges one unit or pack at a time."""

    name: Name


class Pack(FileModel):
    """A spare battery pack of the shop."""

    number: Name
    fits: Annotated[tuple[Name, ...], Field(min_length=1)]
    """Models that take it."""
    charge_percent: Percent


class Operator(FileModel):
    """Somebody who acts, under their own name."""

    name: Name
    may: Annotated[tuple[Ability, ...], Field(min_length=1)]


class ImageKey(FileModel):
    """The public key of somebody whose signature on the image list counts. Private keys are never kept at a bench."""

    name: Name
    key: PublicKey
    """Ed25519 public key (RFC 8032), 64 lower-case hex digits."""


class Break(FileModel):
    """An interval in which no attended work begins."""

    start: Annotated[ClockTime, Field(alias="from")]
    end: Annotated[ClockTime, Field(alias="to")]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.end <= self.start:
            raise Expected(f"a time after the break begins, at {self.start}", found=self.end, at=("to",))
        return self


class BenchFile(FileModel):
    """bench.yaml"""

    bench: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$")]
    """Short name of this bench in the record, lower case."""
    name: Name
    """Name for people."""
    stations: Annotated[tuple[Station, ...], Field(min_length=1)]
    cables: tuple[Cable, ...] = ()
    adapters: tuple[Adapter, ...] = ()
    chargers: tuple[Charger, ...] = ()
    packs: tuple[Pack, ...] = ()
    operators: Annotated[tuple[Operator, ...], Field(min_length=1)]
    breaks: tuple[Break, ...] = ()
    mark: Mark | None = None
    """The known mark over which the antennas of receivers stand while they are verified."""
    image_keys: tuple[ImageKey, ...] = ()
    """Whose signatures on the image list count; with none, an unsigned list is taken and said to be unsigned."""
    image_signatures: Annotated[int, Field(ge=1, le=9)] = 1
    """How many of those keys must have signed it, each counted once."""

    @model_validator(mode="after")
    def _keys_enough(self) -> Self:
        if self.image_keys and self.image_signatures > len(self.image_keys):
            expected = f"at most {len(self.image_keys)}, the number of image_keys"
            raise Expected(expected, found=str(self.image_signatures), at=("image_signatures",))
        return self

    @model_validator(mode="after")
    def _names_once(self) -> Self:
        for where, key, names in (
            ("stations", "name", [s.name for s in self.stations]),
            ("cables", "number", [c.number for c in self.cables]),
            ("adapters", "name", [a.name for a in self.adapters]),
            ("chargers", "name", [c.name for c in self.chargers]),
            ("packs", "number", [p.number for p in self.packs]),
            ("operators", "name", [o.name for o in self.operators]),
            ("image_keys", "name", [k.name for k in self.image_keys]),
            ("image_keys", "key", [k.key for k in self.image_keys]),
        ):
            for place, name in enumerate(names):
                if name in names[:place]:
                    raise Expected(f"each {key} once in {where}", found=f"{name} again", at=(where, place, key))

        return self


class Hours(FileModel):
    """One date and its hours."""

    date: IsoDate
    opens: ClockTime
    closes: ClockTime

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.closes <= self.opens:
            raise Expected(f"a time after the day opens, at {self.opens}", found=self.closes, at=("closes",))
        return self


class Instruments(StrEnum):
    """Whether the units of a day are real."""

    REAL = "real"
    SIMULATED = "simulated"


class Policy(FileModel):
    """How the day is run."""

    first_off: bool = True
    """The first unit of each model and release is verified before a second is begun."""
    permit_minutes: Annotated[int, Field(ge=1, le=120)] = 10
    """How long a permit holds, by the clock on the wall."""


class Pin(FileModel):
    """A crew or a unit that must not change its release, or must have a certain one, until a day."""

    crew: Name | None = None
    unit: Name | None = None
    """Serial; either this or the crew."""
    release: VersionText | None = None
    """Release to have; none means the one that it has. The only rule by which a unit goes back, where it may."""
    reason: Name
    until: IsoDate
    """Last day on which it holds (ISO 8601)."""
    decided_by: Name
    """Who decided it."""

    @model_validator(mode="after")
    def _one_of_both(self) -> Self:
        if (self.crew is None) == (self.unit is None):
            found = "both" if self.crew is not None else "neither"
            raise Expected("either a crew or a unit", found=found)
        return self


class SupportTerms(FileModel):
    """A supplier's list of support terms: a CSV file with the columns serial and support_until."""

    file: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    """Path relative to the day's folder, or absolute."""
    url: Annotated[str, Field(pattern=r"^https?://[^\s]+$", max_length=500)] | None = None
    """Where the list is fetched; the last copy is used where that is not possible."""
    supplier: Name
    """Who says so."""

    @model_validator(mode="after")
    def _one_of_both(self) -> Self:
        if (self.file is None) == (self.url is None):
            found = "both" if self.file is not None else "neither"
            raise Expected("either a file or a url", found=found)
        if self.url is not None and "@" in self.url.split("/")[2]:
            # What stands in this file stands in the journal too.
            raise Expected("an address without user and password", found="one that holds them", at=("url",))
        return self


class Costs(FileModel):
    """What things cost, by which a forecast compares what would help."""

    helper_hour: Money | None = None
    """One operator more for an hour."""
    late_hour: Money | None = None
    """A promise to a crew that is an hour late."""
    cable: Annotated[dict[Name, Money], Field(default_factory=dict)]
    """Connector -> one cable more."""
    currency: Annotated[str, Field(min_length=1, max_length=12)]
    """As it is written behind an amount."""


class DayFile(FileModel):
    """day.yaml"""

    day: Name
    """Name of the day, for people."""
    hours: Annotated[tuple[Hours, ...], Field(min_length=1)]
    time_zone: Name
    """Name from the IANA time zone database, like Europe/London."""
    instruments: Instruments
    policy: Policy = Policy()
    image_store: FolderName = "images"
    """Folder of the image store, relative to this file."""
    playbooks: FolderName = "shipped"
    """Folder with the playbooks, relative to this file, or the word shipped."""
    pins: tuple[Pin, ...] = ()
    support_terms: SupportTerms | None = None
    costs: Costs | None = None
    record: FolderName | None = None
    """Folder of the record; the platform's data folder where it is not given."""
