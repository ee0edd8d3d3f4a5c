"""What a declared dialogue can tell: the fields of each capability, their units, and the words for values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Unit:
    """How a figure that a unit tells becomes the one that we keep: times ``scale``, plus ``offset``."""

    kept: str
    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)


POWER_UNITS: Mapping[str, Unit] = {
    "charge_percent": Unit("charge_percent"),
    "charge_tenths": Unit("charge_percent", Decimal("0.1")),
    "max_error_percent": Unit("max_error_percent"),
    "full_mwh": Unit("full_mwh"),
    "full_10mwh": Unit("full_mwh", Decimal(10)),
    "full_wh": Unit("full_mwh", Decimal(1000)),
    "voltage_mv": Unit("voltage_mv"),
    "voltage_v": Unit("voltage_mv", Decimal(1000)),
    "current_ma": Unit("current_ma"),
    "current_a": Unit("current_ma", Decimal(1000)),
    "temperature_dk": Unit("temperature_dk"),
    # 0 degrees Celsius are 273.15 K (BIPM, The International System of Units, 9th edition, 2.3.1).
    "temperature_c": Unit("temperature_dk", Decimal(10), Decimal("2731.5")),
}
"""Field -> what becomes of it: tenths of a percent, tens of milliwatt-hours, degrees Celsius, where it says so."""

POWER = frozenset({*POWER_UNITS, "external"})

IDENTITY = frozenset({"serial", "model", "hardware", "mode", "release", "options", "term"})
RECORDINGS = frozenset({"name", "bytes", "sha256", "number", "count"})
SETTINGS = frozenset({"name", "value", "number", "count"})
SUM = frozenset({"sha256"})
SELF_TEST = frozenset({"result", "words"})
POSITION = frozenset(
    {
        *("fix", "base", "satellites", "latitude_degrees", "longitude_degrees"),
        *("latitude_dm", "latitude_side", "longitude_dm", "longitude_side"),
        *("height_m", "sea_level_m", "geoid_m"),
    }
)
"""``_dm``: degrees and minutes as NMEA 0183 writes them, ddmm.mmmm, with the side N, S, E or W.
``height_m``: of the antenna above the ellipsoid; or ``sea_level_m`` with ``geoid_m``, which are added, as of GGA."""
PROVE = frozenset({"mac"})
REFUSAL = frozenset({"code", "words"})

CHOICES: Mapping[str, frozenset[str]] = {
    "mode": frozenset({"run", "boot"}),
    "external": frozenset({"yes", "no"}),
    "result": frozenset({"pass", "fail"}),
    "fix": frozenset({"none", "single", "float", "fixed"}),
}
"""Fields that say one of a few words; ``words`` in a playbook gives the unit's own word for each."""
