"""What a change of a day costs, as far as day.yaml says what things cost."""

from __future__ import annotations

from functools import singledispatch

from benchday.domain.bench import Costs
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.stages import TECHNICIAN
from benchday.planning.forecast.variants import (
    Change,
    CloseLater,
    ComesAt,
    ComesLater,
    GoesFirst,
    MoreOf,
    OpenEarlier,
    Several,
)

CABLE = "cable:"


def cost_of(change: Change, compiled: Compiled, costs: Costs) -> float | None:
    """Return what a change costs, in the currency of the costs; None where no cost of it is known.

    Args:
        change: of the day.
        compiled: the day, for its hours and how many operators it has.
        costs: what things cost.
    """
    return _cost(change, compiled, costs)


@singledispatch
def _cost(change: object, compiled: Compiled, costs: Costs) -> float | None:
    del change, compiled, costs
    return None


@_cost.register
def _(change: MoreOf, compiled: Compiled, costs: Costs) -> float | None:
    """A cable is bought; a helper is paid for all hours of the day."""
    if change.pool.startswith(CABLE):
        price = costs.cable.get(change.pool.removeprefix(CABLE))
        return None if price is None else float(price) * max(change.more, 0)
    if change.pool == TECHNICIAN and costs.helper_hour is not None and compiled.model.close is not None:
        return float(costs.helper_hour) * change.more * compiled.model.close / 60
    return None


@_cost.register
def _(change: OpenEarlier, compiled: Compiled, costs: Costs) -> float | None:
    return _everybody(change.minutes, compiled, costs)


@_cost.register
def _(change: CloseLater, compiled: Compiled, costs: Costs) -> float | None:
    return _everybody(change.minutes, compiled, costs)


@_cost.register(ComesAt)
@_cost.register(ComesLater)
@_cost.register(GoesFirst)
def _(change: Change, compiled: Compiled, costs: Costs) -> float | None:
    del change, compiled, costs
    return 0.0


@_cost.register
def _(change: Several, compiled: Compiled, costs: Costs) -> float | None:
    each = [cost_of(one, compiled, costs) for one in change.changes]
    known = [cost for cost in each if cost is not None]
    return sum(known) if len(known) == len(each) else None


def _everybody(minutes: float, compiled: Compiled, costs: Costs) -> float | None:
    """Return what it costs to have every operator there for so long."""
    if costs.helper_hour is None:
        return None
    hands = sum(pool.count for pool in compiled.model.pools if pool.name == TECHNICIAN)
    return float(costs.helper_hour) * hands * minutes / 60
