"""What to do about too little charge, in order: a charged shop pack, external power, charging."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from benchday.domain.bench import Pack
from benchday.domain.checks import Answer, Finding
from benchday.domain.playbook import Playbook
from benchday.planning.power import COLDEST_DK, LEAST_ERROR_PERCENT, Balance, aged_mwh, derating


class RemedyKind(StrEnum):
    """What helps a unit with too little charge."""

    PACK = "fit a charged shop pack"
    EXTERNAL = "external power"
    CHARGE = "charge"


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing that would let the write begin."""

    kind: RemedyKind
    text: str
    minutes: int = 0
    """How long charging takes, rounded up; 0 for the others."""
    pack: str | None = None
    """Number of the shop pack."""
    charge_to_percent: int | None = None


def remedies(
    finding: Finding, playbook: Playbook, model: str, packs: Iterable[Pack], *, chargers: int, outlets: int
) -> tuple[Remedy, ...]:
    """Return what would help, in the order in which it is tried: a charged shop pack, external power, charging.

    Args:
        finding: of the power check; the figures in it are what is reckoned with.
        playbook: of the unit.
        model: of the unit, as the packs' list calls it.
        packs: shop packs not in use.
        chargers: how many chargers the bench has; 0 means it cannot charge.
        outlets: how many supplies for external power are free.
    """
    if finding.answer is Answer.CLEAR:
        return ()
    balance = _balance_of(finding.figures)
    found = [_pack_remedy(balance, playbook, model, packs) if playbook.power.pack_swap else None]
    found.append(_external_remedy(outlets) if playbook.power.external else None)
    found.append(_charge_remedy(balance, playbook) if chargers > 0 else None)
    return tuple(remedy for remedy in found if remedy is not None)


def _balance_of(figures: Mapping[str, int | str]) -> Balance | None:
    """Return the balance that a finding shows; None if it could not be drawn up, or the unit is too cold for it."""
    number = {name: value for name, value in figures.items() if isinstance(value, int)}
    if "have_mwh" not in number or number["temperature_dk"] < COLDEST_DK:
        return None
    names = ("charge", "error", "reserve", "floor", "margin")
    return Balance(
        **{f"{name}_percent": number[f"{name}_percent"] for name in names},
        full_mwh=number["full_mwh"],
        derating=derating(number["temperature_dk"]),
        draw_mw=number["draw_mw"],
        time_us=number["time_us"],
        tries=number["tries"],
    )


def _pack_remedy(balance: Balance | None, playbook: Playbook, model: str, packs: Iterable[Pack]) -> Remedy | None:
    if balance is None:
        return None
    for pack in sorted(packs, key=lambda p: (-p.charge_percent, p.number)):
        fitted = replace(
            balance,
            charge_percent=pack.charge_percent,
            error_percent=LEAST_ERROR_PERCENT,
            full_mwh=aged_mwh(playbook),
        )
        if model in pack.fits and fitted.go:
            text = f"fit shop pack {pack.number} ({pack.charge_percent} % charge)"
            return Remedy(RemedyKind.PACK, text, pack=pack.number)

    return None


def _external_remedy(outlets: int) -> Remedy | None:
    text = "connect external power and leave it on until the unit is verified"
    return Remedy(RemedyKind.EXTERNAL, text) if outlets > 0 else None


def _charge_remedy(balance: Balance | None, playbook: Playbook) -> Remedy | None:
    if balance is None or balance.needed_percent is None:
        return None
    minutes = charging_minutes(balance.charge_percent, balance.needed_percent, balance.full_mwh, playbook)
    text = f"charge from {balance.charge_percent} % to {balance.needed_percent} %, about {minutes} min on a charger"
    return Remedy(RemedyKind.CHARGE, text, minutes=minutes, charge_to_percent=balance.needed_percent)


def charging_minutes(from_percent: int, to_percent: int, full_mwh: int, playbook: Playbook) -> int:
    """Return how long charging takes at the playbook's rate, whole minutes, rounded up."""
    missing_mwh = Fraction(max(to_percent - from_percent, 0) * full_mwh, 100)
    return math.ceil(missing_mwh * 60 / playbook.power.charge_mw)
