"""What ``forecast --json`` says of order, changes and promises, as models, and how that is made."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from benchday.cli.document_parts import Part
from benchday.cli.forecast_options import Further
from benchday.planning.forecast.dropping import DropOffs
from benchday.planning.forecast.fitting import Fits
from benchday.planning.forecast.promises import Promises
from benchday.planning.forecast.search import Found
from benchday.planning.forecast.trying import Score
from benchday.planning.forecast.what_if import Difference, Gain


class DifferencePart(Part):
    """Of one figure between two days with the same chances; positive: better."""

    value: float
    error: float
    """Standard error."""


class CrewGainPart(Part):
    """How much earlier one crew is ready."""

    crew: str
    p80_minutes: DifferencePart


class GainPart(Part):
    """What a change would buy."""

    change: str
    p50_minutes: DifferencePart
    """Everything is done so much earlier, as likely as not."""
    p80_minutes: DifferencePart
    """The same in 80 of 100 days."""
    late_minutes: DifferencePart
    """By so much less promises are missed, all together."""
    begun: DifferencePart
    """So many more units are begun before closing."""
    crews: list[CrewGainPart]
    buys_nothing: bool
    """Nothing that can be told from chance."""
    cost: float | None
    late_saved: float | None
    minutes_per_money: float | None


class OrderPart(Part):
    """The order that was searched."""

    order: list[str]
    """Serials, first to go first; empty: as they come."""
    late_minutes: float
    end_minutes: float
    """In 80 of 100 drawn days, after minute 0."""
    left_out: float
    first_come_late_minutes: float
    first_come_end_minutes: float
    first_come_left_out: float
    gap: float | None
    """By what share its mean end is above the best possible, at most."""
    tried: int
    draws: int


class CrewPromisePart(Part):
    """What can be promised to a crew."""

    crew: str
    at_us: int | None
    holds: float


class DropOffPart(Part):
    """Another time for a crew."""

    crew: str
    at_us: int
    later_minutes: float


class PromisesPart(Part):
    """What can be promised."""

    probability: float
    crews: list[CrewPromisePart]
    together: float
    """Share of days on which all hold."""
    drop_offs: list[DropOffPart] | None
    drop_offs_save_minutes: float | None
    """So much less all units together are in the house."""
    fits_units: int | None
    """So many units of this mix are done by closing with the probability."""


class FurtherPart(Part):
    """What was looked at besides."""

    order: OrderPart | None
    would_help: list[GainPart]
    what_if: list[GainPart]
    against: GainPart | None
    promises: PromisesPart | None
    replications: int
    """Days on which changes were compared."""
    currency: str | None


def further_facts(found: Further) -> dict[str, Any]:
    """Return what was found, for the document."""
    return {
        "order": None if found.order is None else _order(found.order),
        "would_help": _gains(found.would_help),
        "what_if": _gains(found.what_if),
        "against": None if found.against is None else _gain(found.against),
        "promises": None if found.promises is None else _promises(found.promises, found.drop_offs, found.fits),
        "replications": found.replications,
        "currency": found.currency,
    }


def _gains(found: Sequence[Gain]) -> list[dict[str, Any]]:
    return [_gain(gain) for gain in found]


def _gain(gain: Gain) -> dict[str, Any]:
    money = {"cost": gain.cost, "late_saved": gain.late_saved, "minutes_per_money": gain.minutes_per_money}
    return {
        "change": gain.name,
        "p50_minutes": _difference(gain.p50),
        "p80_minutes": _difference(gain.p80),
        "late_minutes": _difference(gain.late),
        "begun": _difference(gain.begun),
        "crews": [{"crew": title, "p80_minutes": _difference(found)} for title, found in gain.crews.items()],
        "buys_nothing": gain.buys_nothing,
        **{name: None if value is None else round(value, 3) for name, value in money.items()},
    }


def _difference(found: Difference) -> dict[str, float]:
    # Beyond thousandths of a minute there is nothing but chance.
    return {"value": round(found.value, 3), "error": round(found.error, 3)}


def _order(found: Found) -> dict[str, Any]:
    return {
        "order": list(found.order),
        **_score("", found.objective),
        **_score("first_come_", found.first_come),
        "gap": None if found.gap is None else round(found.gap, 5),
        "tried": found.evaluations,
        "draws": found.draws,
    }


def _score(prefix: str, score: Score) -> dict[str, float]:
    facts = {"late_minutes": score.late, "end_minutes": score.end, "left_out": score.left_out}
    return {prefix + name: round(value, 3) for name, value in facts.items()}


def _promises(found: Promises, drops: DropOffs | None, fits: Fits | None) -> dict[str, Any]:
    crews = (
        None if drops is None else [{"crew": c.title, "at_us": c.at_us, "later_minutes": c.later} for c in drops.crews]
    )
    return {
        "probability": found.probability,
        "crews": [{"crew": crew.title, "at_us": crew.at_us, "holds": crew.holds} for crew in found.crews],
        "together": found.together,
        "drop_offs": crews,
        "drop_offs_save_minutes": None if drops is None else round(drops.saved, 3),
        "fits_units": None if fits is None else fits.units,
    }
