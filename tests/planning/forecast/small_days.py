"""Small compiled days for what-if and promises, whose figures can be worked out by hand."""

from __future__ import annotations

from benchday.planning.forecast.modelling import Compiled
from benchday.planning.laws import Fixed, Law, Retried
from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.policy import Phase, Pool
from benchday.planning.wording import MINUTE_US

OPENS_US = 8 * 60 * MINUTE_US
"""08:00 of the first day of all."""


def at_us(clock_time: str) -> int:
    """Return a time of that day."""
    hours, minutes = clock_time.split(":")
    return (60 * int(hours) + int(minutes)) * MINUTE_US


def comes(
    name: str,
    minutes: float | Law,
    *,
    arrival: float = 0.0,
    away: float = 0.0,
    promised: float | None = None,
    guard: float | None = None,
    opens: str | None = None,
    waits_for: str | None = None,
) -> ModelUnit:
    """Return a unit that is expected, and then so many minutes at a station with a cable and, at last, a technician."""
    late: Law = Retried(Fixed(1e-6), away, Fixed(3000)) if away else Fixed(1e-6)
    law = minutes if not isinstance(minutes, (int, float)) else Fixed(minutes)
    stages = (
        Stage("late", (), (), late),
        Stage("connect", ("station", "cable:round"), (), Fixed(1e-6), 0.0, waits_for=waits_for),
        Stage("write", (), (), law, guard),
        Stage("verify", (), ("cable:round",), Fixed(1e-6), opens=opens),
        Stage("last look", ("technician",), ("technician", "station"), Fixed(1e-6)),
    )
    return ModelUnit(name, arrival, 0.0, stages, promised)


def a_day(
    *units: ModelUnit,
    crews: dict[str, tuple[str, ...]] | None = None,
    stations: int = 1,
    cables: int = 5,
    technicians: int = 1,
    close: float | None = 540.0,
    replications: int = 40,
) -> Compiled:
    """Return a day that opens at 08:00 and closes at 17:00, a crew for each unit unless told otherwise."""
    pools = (
        Pool("station", stations, Phase.PLACES),
        Pool("cable:round", cables, Phase.PLACES),
        Pool("technician", technicians, Phase.HANDS),
    )
    return Compiled(
        model=Model(pools, units, close, replications, seed=1),
        at_us=OPENS_US,
        crews=crews or {f"crew {unit.id}": (unit.id,) for unit in units},
        promised_us={u.id: OPENS_US + round(u.promised * MINUTE_US) for u in units if u.promised is not None},
    )
