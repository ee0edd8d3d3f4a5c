"""How many units of a day's mix can be done by closing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from benchday.planning.forecast import engines
from benchday.planning.forecast.coming import Coming
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.variants import opens, put_behind, regated
from benchday.planning.model import ModelUnit

MOST = 8
"""Times the roster up to which is looked."""
REPLICATIONS = 300


@dataclass(frozen=True, slots=True)
class Fits:
    """The largest number of units of a mix that a day holds."""

    units: int
    """0 if not even one."""
    share: float
    """Share of drawn days in which so many are all done by closing."""
    probability: float
    """That was asked for."""
    more: bool = False
    """So many were looked at, and more may fit."""


def fits(
    compiled: Compiled,
    probability: float,
    *,
    replications: int = REPLICATIONS,
    seed: int | None = None,
    engine: str = engines.Engine.AUTO,
) -> Fits:
    """Return the largest number of units of the roster's mix that are done by closing with a probability.

    It halves the interval again and again, and so supposes that more units are done by closing less often.

    Args:
        compiled: the day.
        probability: that all are done by closing with.
        replications: days drawn of each number that is looked at.
        seed: of the draws; the model's own where None.
        engine: a name of ``Engine``.

    Raises:
        ValueError: the day has no closing time, or no units.
    """
    if compiled.model.close is None or not compiled.model.units:
        raise ValueError("a day without units or closing time holds any number")

    def share(count: int) -> float:
        return _done_by_closing(of_mix(compiled, count), replications, seed, engine)

    low, high, at_low = 0, MOST * len(compiled.model.units) + 1, 1.0
    # From the roster's own number on, for most days hold about so many.
    middle = len(compiled.model.units)
    while high - low > 1:
        found = share(middle)
        if found >= probability:
            low, at_low = middle, found
        else:
            high = middle
        middle = min((low + high) // 2, 2 * low) if low else (low + high) // 2
    return Fits(low, at_low, probability, more=low == MOST * len(compiled.model.units))


def _done_by_closing(compiled: Compiled, replications: int, seed: int | None, engine: str) -> float:
    outcomes = engines.replicate(compiled.model, replications=replications, seed=seed, engine=engine)
    close = compiled.model.close
    assert close is not None  # noqa: S101 - asked before
    return Coming.of(outcomes, seed).all_done.share_by(close)


def of_mix(compiled: Compiled, count: int) -> Compiled:
    """Return the day with so many units of the same mix: the roster again and again, then some spread over it.

    A unit comes again under its serial with a number behind it, and draws for itself; promises are left out.
    """
    units = compiled.model.units
    whole, rest = divmod(count, len(units))
    picked = [(unit, copy) for copy in range(whole) for unit in units]
    picked += [(units[number * len(units) // rest], whole) for number in range(rest)]
    model = replace(compiled.model, units=tuple(_copies(picked)))
    crews = {"all": tuple(unit.id for unit in model.units)}
    return regated(replace(compiled, model=model, crews=crews, ready_us={}))


def _copies(picked: Sequence[tuple[ModelUnit, int]]) -> Iterator[ModelUnit]:
    """Name each copy; one of a unit that opens gates waits for them instead, for they are open once."""
    there = {unit.id for unit, copy in picked if copy == 0}
    for unit, copy in picked:
        named = replace(unit, id=f"{unit.id}#{copy + 1}" if copy else unit.id, promised=None)
        for gate in opens(unit) if copy and unit.id in there else ():
            named = put_behind(named, gate)
        yield named
