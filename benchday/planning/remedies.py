"""What to do about too little charge, in order: a charged shop pack, external power, charging.

Where something is not known the order is another: external power answers everything, a shop pack of known charge
answers for the gauge, and the rest is measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from benchday.domain.bench import Pack
from benchday.domain.checks import Answer, Finding
from benchday.domain.playbook import Playbook
from benchday.planning.charging import charging_minutes, slow_from
from benchday.planning.power import COLDEST_DK, LEAST_ERROR_PERCENT, TRIES, Balance, aged_mwh, derating, measurable

WHO = "whoever does it answers under their own name"


class RemedyKind(StrEnum):
    """What helps a unit with too little charge, or one whose charge is not known well enough."""

    PACK = "fit a charged shop pack"
    EXTERNAL = "external power"
    MEASURE = "measure what is missing"
    CHARGE = "charge"


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing that would let the write begin."""

    kind: RemedyKind
    text: str
    """What is to be done, when and by whom."""
    minutes: int = 0
    """How long charging takes, rounded up; 0 for the others."""
    pack: str | None = None
    """Number of the shop pack."""
    charge_to_percent: int | None = None
    missing: tuple[str, ...] = ()
    """What is to be measured, as the finding calls it."""


def remedies(
    finding: Finding, playbook: Playbook, model: str, packs: Iterable[Pack], *, chargers: int, outlets: int
) -> tuple[Remedy, ...]:
    """Return what would help, in the order in which it is tried.

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
    fitted = _fitted(balance or _without_charge(finding.figures), playbook)
    pack = _pack_remedy(fitted, model, packs) if playbook.power.pack_swap else None
    external = _external_remedy(outlets) if playbook.power.external else None
    if finding.answer is Answer.ASK:
        found = [external, pack, _measure_remedy(finding.figures)]
    else:
        found = [pack, external, _charge_remedy(balance, playbook) if chargers > 0 else None]
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


def _without_charge(figures: Mapping[str, int | str]) -> Balance | None:
    """Return what of a balance is known beside the charge, for an empty pack; None if the rest is not known either."""
    number = {name: value for name, value in figures.items() if isinstance(value, int)}
    if "have_mwh" in number or number.get("temperature_dk", 0) < COLDEST_DK or "draw_mw" not in number:
        return None
    limits = {f"{name}_percent": number[f"{name}_percent"] for name in ("reserve", "floor", "margin")}
    cold = derating(number["temperature_dk"])
    return Balance(0, LEAST_ERROR_PERCENT, 0, cold, number["draw_mw"], number["time_us"], tries=TRIES, **limits)


def _fitted(balance: Balance | None, playbook: Playbook) -> Balance | None:
    """Return the balance with a pack of the shop in it: nobody measured what that holds when full."""
    if balance is None:
        return None
    return replace(balance, error_percent=LEAST_ERROR_PERCENT, full_mwh=aged_mwh(playbook))


def _pack_remedy(fitted: Balance | None, model: str, packs: Iterable[Pack]) -> Remedy | None:
    if fitted is None:
        return None
    for pack in sorted(packs, key=lambda p: (-p.charge_percent, p.number)):
        if model in pack.fits and replace(fitted, charge_percent=pack.charge_percent).go:
            text = f"fit shop pack {pack.number} ({pack.charge_percent} % charge) now, before the write; {WHO}"
            return Remedy(RemedyKind.PACK, text, pack=pack.number)

    return None


def _external_remedy(outlets: int) -> Remedy | None:
    text = f"connect external power now, before the write, and leave it on until the unit is verified; {WHO}"
    return Remedy(RemedyKind.EXTERNAL, text) if outlets > 0 else None


def _measure_remedy(figures: Mapping[str, int | str]) -> Remedy | None:
    missing = tuple(str(figures.get("unknown", "")).split(", "))
    if not measurable(missing):
        return None
    return Remedy(RemedyKind.MEASURE, f"measure now, before the write: {', '.join(missing)}; {WHO}", missing=missing)


def _charge_remedy(balance: Balance | None, playbook: Playbook) -> Remedy | None:
    if balance is None or balance.needed_percent is None:
        return None
    needed = balance.needed_percent
    minutes = charging_minutes(balance.charge_percent, needed, balance.full_mwh, playbook)
    slow = ", the last part slowly" if slow_from(needed) else ""
    text = (
        f"charge from {balance.charge_percent} % to {needed} % before the write, about {minutes} min on a charger{slow}"
    )
    return Remedy(RemedyKind.CHARGE, text, minutes=minutes, charge_to_percent=needed)
