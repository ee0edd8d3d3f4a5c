"""What a unit says of itself, as drivers hand it over."""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import rfc8785


class Mode(StrEnum):
    """How a unit is running."""

    RUN = "run"
    BOOT = "boot"


@dataclass(frozen=True, slots=True)
class Identity:
    """Who the unit says it is."""

    serial: str
    model: str
    hardware: str
    """Hardware revision as the unit words it; empty if it does not say."""
    mode: Mode
    release: str | None
    """Version running now; None in the boot loader."""
    options: tuple[str, ...] = ()
    """Installed options, sorted."""
    term: str | None = None
    """Last day of support that the unit knows of (ISO 8601 date), or None."""
    remarks: tuple[str, ...] = ()
    """What the driver has to say of how it came to the unit; each is told in the unit's log."""
    certificate: str | None = None
    """SHA-256 of the certificate that its page shows (64 hex digits), None where it has none."""


@dataclass(frozen=True, slots=True)
class PowerReading:
    """Battery figures, named after the Smart Battery Data Specification's fields, in whole units."""

    charge_percent: int
    """RelativeStateOfCharge, 0 to 100."""
    max_error_percent: int | None
    """MaxError; None where the unit does not tell."""
    full_mwh: int | None
    """FullChargeCapacity in milliwatt-hours (aged); None where the unit does not tell."""
    temperature_dk: int | None
    """Temperature in tenths of a kelvin."""
    external: bool
    """External power confirmed present."""
    voltage_mv: int | None = None
    """Voltage in millivolts."""
    current_ma: int | None = None
    """Current in milliamperes, negative while discharging."""
    pack: str | None = None
    """Number of the shop's charged pack that a person says is in it."""


@dataclass(frozen=True, slots=True)
class Recording:
    """One observation file on the unit."""

    name: str
    bytes: int
    sha256: str | None = None
    """Digest as the unit reports it, 64 hex digits; None where it does not."""


@dataclass(frozen=True, slots=True)
class Settings:
    """The unit's settings, by name."""

    values: Mapping[str, str] = field(default_factory=dict)

    @property
    def digest(self) -> str:
        """SHA-256 over the canonical bytes (RFC 8785), 64 hex digits; what an act that puts settings is bound to."""
        return hashlib.sha256(rfc8785.dumps(dict(self.values))).hexdigest()


@dataclass(frozen=True, slots=True)
class Sky:
    """What the receiver sees."""

    fix: str
    """none, single, float or fixed."""
    base: str | None
    """Serial of the base it hears, if any."""
    satellites: int
    latitude_e7: int | None = None
    """Latitude in 1e-7 degrees, north positive."""
    longitude_e7: int | None = None
    """Longitude in 1e-7 degrees, east positive."""
    hdop_centi: int | None = None
    """Horizontal dilution of precision in hundredths."""
    deviation_mm: int | None = None
    """What the receiver says of the standard deviation of its own place, horizontally, millimetres."""
    height_mm: int | None = None
    """Of the antenna above the ellipsoid, millimetres."""
    vdop_centi: int | None = None
    """Vertical dilution of precision in hundredths."""
    height_deviation_mm: int | None = None
    """What the receiver says of the standard deviation of that height, millimetres."""


@dataclass(frozen=True, slots=True)
class SelfTest:
    """Outcome of the unit's own test."""

    passed: bool
    words: str = ""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a long operation has come: a tick, never stored."""

    done: int
    of: int
    """Both in the same unit: bytes of a transfer, or percent of a flash."""
    what: str
    """sending, flashing, fetching ..."""

    def __post_init__(self) -> None:
        if not 0 <= self.done <= self.of:
            raise ValueError(f"progress must lie between 0 and {self.of}, got {self.done}")


@dataclass(frozen=True, slots=True)
class Proof:
    """A unit's answer to the question whether it is one of the simulators of this day."""

    nonce: str
    """32 hex digits, drawn by us for this question."""
    mac: str
    """HMAC-SHA256 (RFC 2104, FIPS 180-4), 64 hex digits."""

    def holds(self, key: bytes, serial: str) -> bool:
        """Tell whether the answer was made with the day's key for this serial."""
        wanted = hmac.new(key, f"{self.nonce}:{serial}".encode(), hashlib.sha256).hexdigest()
        return hmac.compare_digest(wanted, self.mac.lower())
