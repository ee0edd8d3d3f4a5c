"""What a forecast is asked besides: an order to be searched, what if, another plan, what can be promised."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from benchday.cli.foreknown import Foreknown, foreknown
from benchday.domain.errors import InputError
from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.planning.forecast import engines
from benchday.planning.forecast.dropping import REPLICATIONS as DROP_OFF_REPLICATIONS
from benchday.planning.forecast.dropping import DropOffs, drop_offs
from benchday.planning.forecast.fitting import REPLICATIONS as FITS_REPLICATIONS
from benchday.planning.forecast.fitting import Fits, fits
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outcomes import Outcomes
from benchday.planning.forecast.prepared import prepare
from benchday.planning.forecast.promises import Promises, promises
from benchday.planning.forecast.search import Found, search
from benchday.planning.forecast.spoken import Hearing, heard
from benchday.planning.forecast.variants import Variant, ordered, standard
from benchday.planning.forecast.what_if import REPLICATIONS, Gain, against, gains

LEAST, MOST = 0.5, 0.999
"""Probabilities that a promise may be asked for with."""


@dataclass(frozen=True, slots=True)
class Options:
    """What was asked for."""

    what_if: tuple[str, ...] = ()
    against: Path | None = None
    promise: float | None = None
    search: float | None = None
    """Seconds."""


NOTHING_BESIDES = Options()


@dataclass(frozen=True, slots=True)
class Further:
    """What was found."""

    would_help: tuple[Gain, ...]
    """The short list of what may help, the most first; empty where changes were named."""
    what_if: tuple[Gain, ...] = ()
    """What the named changes would buy, in the order in which they were named."""
    against: Gain | None = None
    promises: Promises | None = None
    drop_offs: DropOffs | None = None
    fits: Fits | None = None
    order: Found | None = None
    replications: int = 0
    """Days on which changes were compared."""
    currency: str | None = None


def in_order(compiled: Compiled, seconds: float | None) -> tuple[Compiled, Found | None]:
    """Return the day in the order that was searched for so many seconds, and what was found; as it is without."""
    if seconds is None or not compiled.model.units:
        return compiled, None
    found = search(compiled.model, seconds=seconds, seed=compiled.model.seed, crews=compiled.crews)
    return ordered(compiled, found.order), found


def further(
    basis: Foreknown, compiled: Compiled, outcomes: Outcomes, options: Options, order: Found | None, record: Path | None
) -> Further:
    """Find what was asked for.

    Args:
        basis: what the forecast rests on.
        compiled: the day.
        outcomes: of its replications.
        options: what was asked for.
        order: that was searched, if any.
        record: as the command was told; also for the other plan.

    Raises:
        InputError: a change cannot be understood, a probability is none, or the other plan holds mistakes.
    """
    if not compiled.model.units:
        return Further((), order=order)
    hearing = Hearing(compiled, basis.plan.at_us, opened=basis.state is not None)
    named = [heard(text, hearing) for text in options.what_if]
    told = _compared(basis, compiled, named or list(standard(compiled, opened=hearing.opened)))
    costs = basis.plan.day.costs
    found = Further(
        would_help=() if named else told,
        what_if=_as_named(told, named),
        order=order,
        replications=_count(compiled, REPLICATIONS),
        currency=costs.currency if costs is not None else None,
    )
    if options.against is not None:
        found = replace(found, against=_against(basis, compiled, options.against, record, order))
    return _promised(basis, compiled, outcomes, options, found)


def _count(compiled: Compiled, usual: int) -> int:
    """Return how many days are drawn to compare: no more than for the forecast itself."""
    return min(usual, compiled.model.replications)


def _compared(basis: Foreknown, compiled: Compiled, variants: Sequence[Variant]) -> tuple[Gain, ...]:
    count = _count(compiled, REPLICATIONS)
    return gains(
        compiled,
        variants,
        replications=count,
        engine=_engine(compiled, count * (len(variants) + 1)),
        costs=basis.plan.day.costs,
    )


def _engine(compiled: Compiled, replications: int) -> engines.Engine:
    """Return what runs so many days of all variants together."""
    return engines.choose(prepare(compiled.model), replications)


def _as_named(told: Sequence[Gain], named: Sequence[Variant]) -> tuple[Gain, ...]:
    by_name = {gain.name: gain for gain in told}
    return tuple(by_name[name] for name in dict.fromkeys(variant.name for variant in named))


def _against(basis: Foreknown, compiled: Compiled, folder: Path, record: Path | None, order: Found | None) -> Gain:
    """Compare with another plan, in the same order where one was searched; units that are not in it go last."""
    plan = load_day(folder)
    other = foreknown(plan, folder, record, compiled.model.seed)
    count = _count(compiled, REPLICATIONS)
    found = other.compiled(count)
    if not found.model.units:
        raise InputError(f"--against {folder}: nothing is left to be served on that day")
    if order is not None and order.order:
        rest = (unit.id for unit in found.model.units if unit.id not in order.order)
        found = ordered(found, (*order.order, *rest))
    # Times of day are compared, whatever the dates are.
    moved = replace(found, at_us=found.at_us - _midnight(other.plan) + _midnight(basis.plan))
    return against(compiled, moved, name=str(folder), replications=count)


def _midnight(plan: DayPlan) -> int:
    return plan.at_us("00:00")


def _promised(basis: Foreknown, compiled: Compiled, outcomes: Outcomes, options: Options, found: Further) -> Further:
    probability = options.promise
    if probability is None:
        return found
    if not LEAST <= probability <= MOST:
        raise InputError(f"--promise {probability:g}: expected a probability from {LEAST} to {MOST}, like 0.95")
    found = replace(found, promises=promises(compiled, outcomes, probability))
    if basis.state is not None:
        return found
    count = _count(compiled, FITS_REPLICATIONS)
    return replace(
        found,
        drop_offs=drop_offs(
            compiled, replications=_count(compiled, DROP_OFF_REPLICATIONS), engine=_engine(compiled, 40 * count)
        ),
        fits=fits(compiled, probability, replications=count, engine=_engine(compiled, 10 * count)),
    )


def named_options(options: Options) -> Iterator[tuple[str, object]]:
    """Yield the options that only a day's folder can be asked with, and what they were given."""
    yield "--what-if", options.what_if
    yield "--against", options.against
    yield "--promise", options.promise
    yield "--search", options.search
