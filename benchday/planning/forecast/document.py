"""The document that a model's forecast prints: numbers by the names that a stranger's program reads."""

from __future__ import annotations

import math
from typing import Any

from benchday.planning.forecast.outcomes import SHARES, Outcomes, UnitOutcome


def document_of(
    outcomes: Outcomes, *, makespans: bool = False, finish: bool = False, trace: bool = False
) -> dict[str, Any]:
    """Return the document.

    Args:
        outcomes: of the model's replications.
        makespans: list the makespan of each replication.
        finish: list each unit's finish in each replication, null where it was not begun.
        trace: list the start and end of each stage in replication 0.
    """
    late, tardiness, spread = outcomes.late_units(), outcomes.tardiness(), outcomes.makespan
    document: dict[str, Any] = {
        "makespan": {
            "mean": spread.mean,
            "sd": spread.sd,
            "min": spread.quantile(0),
            "max": spread.quantile(1),
            "quantiles": {f"{share:.12g}": spread.quantile(share) for share in outcomes.model.quantiles},
        },
        "late": {"mean_units_late": late.mean or 0.0, "mean_total_tardiness": tardiness.mean or 0.0},
        "units": {unit.id: _unit(unit) for unit in outcomes.units()},
        "not_begun": outcomes.not_begun(),
    }
    if makespans:
        document["makespans"] = list(outcomes.makespans)
    if finish:
        document["finish"] = [
            [None if math.isnan(end) else end for end in outcomes.finish_in(number)]
            for number in range(outcomes.replications)
        ]
    if trace:
        document["trace"] = _trace(outcomes)
    return document


def _unit(unit: UnitOutcome) -> dict[str, float | None]:
    quantiles = {f"p{round(100 * share)}": unit.finish.quantile(share) for share in SHARES}
    return {**quantiles, "late_probability": unit.late_probability}


def _trace(outcomes: Outcomes) -> dict[str, list[dict[str, Any]]]:
    day = outcomes.first_day
    if day is None:
        return {}
    return {
        unit.id: [
            {"stage": stage.name, "start": start, "end": end}
            for stage, start, end in zip(unit.stages, starts, ends, strict=False)
        ]
        for unit, starts, ends in zip(outcomes.model.units, day.starts, day.ends, strict=True)
    }
