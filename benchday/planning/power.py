"""Enough charge to survive the write: an energy balance in whole milliwatt-hours.

    have = (charge - error) x full x derating - reserve x full       rounded down
    need = draw x (1 + margin) x time x tries                        rounded up

A write begins if external power is confirmed, or if have >= need and charge - error >= floor. Unknown is no.
Exact fractions throughout: at the edge a binary rounding must not decide.
Readings are those of the Smart Battery Data Specification 1.0/1.1: 0x08 Temperature (0.1 K), 0x0C MaxError (%), 0x0D
RelativeStateOfCharge (%), 0x10 FullChargeCapacity (10 mWh or mAh). The factors below are ours unless a source stands
beside them.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.playbook import Playbook
from benchday.domain.readings import PowerReading
from benchday.planning.durations import RestOfWay
from benchday.planning.wording import either, in_minutes, in_mwh, listed

LEAST_ERROR_PERCENT = 5
"""The charge is never believed closer than this, whatever the gauge says of itself."""
FLOOR_PERCENT = 30
RESERVE_PERCENT = 20
MARGIN_PERCENT = 25
"""For peaks of radio and flash above the measured draw."""
TRIES = 2
"""The balance allows one full retry."""
AGED = Fraction(4, 5)
"""What is left of the design's energy at the end of a pack's life: the 1.25 of public sizing notes after IEEE 485."""

_WARM_DK = Fraction(30015, 10)
"""27 degrees Celsius in tenths of a kelvin: full capacity (Battery University BU-502)."""
COLDEST_DK = Fraction(25515, 10)
"""-18 degrees Celsius: about half (Battery University BU-502); nothing is written below."""


def derating(temperature_dk: int) -> Fraction:
    """Return which part of the energy is there at this temperature (tenths of a kelvin), between a half and one.

    BU-502 gives the two ends; the straight line between them is ours.
    """
    part = 1 - Fraction(1, 2) * (_WARM_DK - temperature_dk) / (_WARM_DK - COLDEST_DK)
    return min(max(part, Fraction(1, 2)), Fraction(1))


@dataclass(frozen=True, slots=True)
class Balance:
    """What the battery holds against what the write takes."""

    charge_percent: int
    error_percent: int
    """How far the charge may be off; at least five."""
    full_mwh: int
    derating: Fraction
    """Part of the energy that is there in the cold, above 0 to 1."""
    draw_mw: int
    time_us: int
    """99th percentile of one whole write, restart and verify of each image."""
    reserve_percent: int = RESERVE_PERCENT
    floor_percent: int = FLOOR_PERCENT
    margin_percent: int = MARGIN_PERCENT
    tries: int = TRIES

    def __post_init__(self) -> None:
        if not 0 <= self.charge_percent <= 100:
            raise ValueError(f"a charge is 0 to 100 %, got {self.charge_percent}")
        if not 0 < self.derating <= 1:
            raise ValueError(f"derating is above 0 and at most 1, got {self.derating}")
        for name in ("error_percent", "full_mwh", "draw_mw", "time_us", "reserve_percent", "tries"):
            if getattr(self, name) < 0:
                raise ValueError(f"{name} cannot be {getattr(self, name)}")

    @property
    def sure_percent(self) -> int:
        """The charge that is there even if the gauge is off."""
        return self.charge_percent - self.error_percent

    @property
    def have_mwh(self) -> int:
        """Energy that may be used; negative if not even the reserve is there."""
        full = Fraction(self.full_mwh, 100)
        return math.floor(self.sure_percent * full * self.derating - self.reserve_percent * full)

    @property
    def need_mwh(self) -> int:
        """Energy that the rest of the way takes."""
        draw = Fraction(self.draw_mw * (100 + self.margin_percent), 100)
        return math.ceil(draw * self.time_us * self.tries / 3_600_000_000)

    @property
    def go(self) -> bool:
        """The write may begin on battery."""
        return self.have_mwh >= self.need_mwh and self.sure_percent >= self.floor_percent

    @property
    def needed_percent(self) -> int | None:
        """The least charge at which it may begin; None if a full battery would not do."""
        energy = Fraction(100 * self.need_mwh + self.reserve_percent * self.full_mwh)
        for_energy = math.ceil(energy / (self.full_mwh * self.derating)) if self.full_mwh else 101
        needed = self.error_percent + max(for_energy, self.floor_percent)
        return needed if needed <= 100 else None


def power(reading: PowerReading | None, playbook: Playbook, rest: RestOfWay | None) -> Finding:
    """Answer whether the unit has enough charge to survive what lies before it.

    What is not known is never a go: the answer asks, and external power, a pack of known charge or a measured value
    clears it.

    Args:
        reading: what the unit says; None if it could not be asked.
        playbook: draw, design energy and limits.
        rest: of write, restart and verify, for all images of the route; None if nothing is to be written.
    """
    if rest is None:
        return Finding(Check.POWER, Answer.CLEAR, "nothing is to be written, so no charge is needed for it")
    if reading is not None and reading.external and playbook.power.external:
        return _on_external(reading, playbook, rest)

    unknown = unknown_in(reading, playbook)
    if reading is None or unknown:
        return _not_known(reading, playbook, rest, unknown)
    return _weighed(reading, playbook, rest)


ERROR, TEMPERATURE, CHARGE = "how far the charge may be off", "battery temperature", "charge"
"""What a unit may not tell."""


def unknown_in(reading: PowerReading | None, playbook: Playbook) -> tuple[str, ...]:
    """Name what an energy balance would need and nobody knows."""
    missing = {
        CHARGE: reading,
        ERROR: reading.max_error_percent if reading else None,
        TEMPERATURE: reading.temperature_dk if reading else None,
        f"draw of {listed(playbook.models)} while written (playbook {playbook.playbook})": playbook.power.draw_mw,
    }
    return tuple(name for name, value in missing.items() if value is None)


@dataclass(frozen=True, slots=True)
class Measured:
    """What a person measured because the unit does not tell it; None is not measured either."""

    error_percent: int | None = None
    temperature_dk: int | None = None

    def beside(self, told: PowerReading) -> PowerReading:
        """Return what the unit tells with what was measured in its gaps."""
        return replace(
            told,
            max_error_percent=self.error_percent if told.max_error_percent is None else told.max_error_percent,
            temperature_dk=self.temperature_dk if told.temperature_dk is None else told.temperature_dk,
        )


def with_pack(told: PowerReading, pack_percent: int) -> PowerReading:
    """Return what the unit tells with a shop pack of known charge in it, where it does not tell how far it is off.

    The lesser of the two charges counts: the pack may have been used since it was charged.
    """
    if told.max_error_percent is not None:
        return told
    lesser = min(told.charge_percent, pack_percent)
    return replace(told, charge_percent=lesser, max_error_percent=LEAST_ERROR_PERCENT)


def measurable(missing: Collection[str]) -> bool:
    """Tell whether a person at the station can measure all that is missing; a draw stands in the playbook."""
    return bool(missing) and set(missing) <= {ERROR, TEMPERATURE}


def _not_known(reading: PowerReading | None, playbook: Playbook, rest: RestOfWay, unknown: tuple[str, ...]) -> Finding:
    ways = ["connect external power"] if playbook.power.external else []
    if playbook.power.draw_mw is None:
        ways.append("measure the draw and put it into the playbook")
        clears = _clears(playbook, "its draw is measured and stands in the playbook", pack=False)
    else:
        ways += ["fit a shop pack of known charge"] if playbook.power.pack_swap else []
        ways.append("measure what is missing")
        clears = _clears(playbook, "what is missing is known")
    text = f"not known: {listed(unknown)}; without it nothing is written on battery: {either(ways)}"
    figures = _known_figures(reading, playbook, rest) | {"unknown": ", ".join(unknown)}
    return Finding(Check.POWER, Answer.ASK, text, figures, clears)


def _on_external(reading: PowerReading, playbook: Playbook, rest: RestOfWay) -> Finding:
    """External power is enough; what happens if it is unplugged is told all the same."""
    unknown = unknown_in(reading, playbook)
    if unknown:
        known = _known_figures(reading, playbook, rest) | {"unknown": ", ".join(unknown)}
        return _bridging(known, f"whether its battery could bridge an unplugging is not known ({listed(unknown)})")
    temperature_dk = reading.temperature_dk or 0
    balance = _balance(reading, playbook, rest, temperature_dk)
    figures = _figures(balance, temperature_dk)
    if temperature_dk >= COLDEST_DK and balance.go:
        text = "external power is confirmed, and its battery would bridge an unplugging"
        return Finding(Check.POWER, Answer.CLEAR, text, {"external": "yes", "bridges": "yes", **figures})
    return _bridging(figures, "its battery could not bridge an unplugging")


def _bridging(figures: Mapping[str, int | str], why: str) -> Finding:
    text = f"external power is confirmed, but {why}: see that nobody unplugs it until it is verified"
    return Finding(Check.POWER, Answer.CLEAR, text, {"external": "yes", "bridges": "no", **figures})


def _weighed(reading: PowerReading, playbook: Playbook, rest: RestOfWay) -> Finding:
    temperature_dk = reading.temperature_dk or 0
    balance = _balance(reading, playbook, rest, temperature_dk)
    figures = _figures(balance, temperature_dk) | {
        "full_known_as": "measured" if reading.full_mwh is not None else "four fifths of the design's",
        "time_basis": rest.basis,
    }
    if temperature_dk < COLDEST_DK:
        text = f"the battery is at {_celsius(temperature_dk)}, below -18 °C: warm the unit before it is written"
        return Finding(Check.POWER, Answer.STOP, text, figures, _clears(playbook, "the unit is warmer", pack=False))

    energy = (
        f"{in_mwh(balance.have_mwh)} may be used of {balance.charge_percent} % charge and {in_mwh(balance.need_mwh)} "
        f"are needed, {in_minutes(balance.time_us)} {balance.tries} times over ({rest.basis})"
    )
    if balance.go:
        return Finding(Check.POWER, Answer.CLEAR, f"enough charge: {energy}", figures)
    text = f"too little charge: {energy}; {_at_least(balance)}"
    if balance.sure_percent < balance.floor_percent:
        text = (
            f"too little charge: {balance.charge_percent} % less {balance.error_percent} % for the gauge is "
            f"{balance.sure_percent} %, and a write begins at {balance.floor_percent} % at least; {_at_least(balance)}"
        )
    needed = balance.needed_percent
    charged = (f"it is charged to {needed} %",) if needed is not None else ()
    return Finding(Check.POWER, Answer.STOP, text, figures, _clears(playbook, *charged))


def _clears(playbook: Playbook, *ways: str, pack: bool = True) -> str:
    """Say what would clear it, in words that follow "held until": external power and a shop pack where they can be."""
    own = ["it has external power"] if playbook.power.external else []
    own += ["a shop pack of known charge is fitted"] if playbook.power.pack_swap and pack else []
    return either([*own, *ways] or ["it has a battery that holds enough for the whole write"])


def _at_least(balance: Balance) -> str:
    needed = balance.needed_percent
    return f"charge to {needed} %" if needed is not None else "not even a full battery would do, use external power"


def _balance(reading: PowerReading, playbook: Playbook, rest: RestOfWay, temperature_dk: int) -> Balance:
    return Balance(
        charge_percent=reading.charge_percent,
        error_percent=max(reading.max_error_percent or 0, LEAST_ERROR_PERCENT),
        full_mwh=_full_mwh(reading, playbook),
        derating=derating(temperature_dk),
        draw_mw=playbook.power.draw_mw or 0,
        time_us=rest.p99_us,
        reserve_percent=playbook.limit(Check.POWER, "reserve_percent", RESERVE_PERCENT),
        floor_percent=playbook.limit(Check.POWER, "floor_percent", FLOOR_PERCENT),
        margin_percent=playbook.limit(Check.POWER, "margin_percent", MARGIN_PERCENT),
    )


def _full_mwh(reading: PowerReading, playbook: Playbook) -> int:
    return reading.full_mwh if reading.full_mwh is not None else aged_mwh(playbook)


def aged_mwh(playbook: Playbook) -> int:
    """Return what a full pack holds at the end of its life, where nobody measured it."""
    return math.floor(AGED * playbook.power.full_mwh)


def _celsius(temperature_dk: int) -> str:
    return f"{(temperature_dk - 2731.5) / 10:.0f} °C"


def _figures(balance: Balance, temperature_dk: int) -> dict[str, int | str]:
    return {
        "charge_percent": balance.charge_percent,
        "error_percent": balance.error_percent,
        "full_mwh": balance.full_mwh,
        "temperature_dk": temperature_dk,
        "derating_permille": math.floor(balance.derating * 1000),
        "draw_mw": balance.draw_mw,
        "margin_percent": balance.margin_percent,
        "reserve_percent": balance.reserve_percent,
        "floor_percent": balance.floor_percent,
        "time_us": balance.time_us,
        "tries": balance.tries,
        "have_mwh": balance.have_mwh,
        "need_mwh": balance.need_mwh,
        "needed_percent": balance.needed_percent if balance.needed_percent is not None else "more than full",
    }


def _known_figures(reading: PowerReading | None, playbook: Playbook, rest: RestOfWay) -> dict[str, int | str]:
    """Return the factors that are known where the balance cannot be drawn up."""
    told = reading or PowerReading(0, None, None, None, external=False)
    error = told.max_error_percent
    figures: dict[str, int | str | None] = {
        "charge_percent": told.charge_percent if reading else None,
        "error_percent": max(error, LEAST_ERROR_PERCENT) if error is not None else None,
        "full_mwh": _full_mwh(told, playbook) if reading else None,
        "temperature_dk": told.temperature_dk,
        "draw_mw": playbook.power.draw_mw,
        "margin_percent": playbook.limit(Check.POWER, "margin_percent", MARGIN_PERCENT),
        "reserve_percent": playbook.limit(Check.POWER, "reserve_percent", RESERVE_PERCENT),
        "floor_percent": playbook.limit(Check.POWER, "floor_percent", FLOOR_PERCENT),
        "time_us": rest.p99_us,
        "tries": TRIES,
        "time_basis": rest.basis,
    }
    return {name: value for name, value in figures.items() if value is not None}
