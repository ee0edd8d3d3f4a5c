"""A model as its file says it: the same keys that the strict reader knows, so that a stranger's program can run it."""

from __future__ import annotations

import json
import math
import random
from typing import Any

from benchday.planning.durations import quantile
from benchday.planning.laws import (
    Fixed,
    Law,
    LogNormal,
    Pert,
    Remaining,
    Retried,
    Scaled,
    Student,
    Triangular,
    Uniform,
)
from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.model_file import FORM
from benchday.planning.policy import Pool

FITTED_ON = 2_000
"""Draws by which a law that files cannot say is fitted."""
NORMAL_80 = 0.8416212335729143
"""The 80 % quantile of the standard normal law (mathematical tables)."""


def model_text(model: Model) -> str:
    """Return the file of a model: JSON (RFC 8259)."""
    return json.dumps(model_facts(model), ensure_ascii=False, indent=1) + "\n"


def model_facts(model: Model) -> dict[str, Any]:
    """Return what the file says."""
    facts: dict[str, Any] = {"model": FORM, "pools": [_pool(p) for p in model.pools]}
    facts["units"] = [_unit(unit) for unit in model.units]
    if model.close is not None:
        facts["close"] = model.close
    return facts | {"replications": model.replications, "seed": model.seed, "quantiles": list(model.quantiles)}


def _pool(pool: Pool) -> dict[str, Any]:
    facts: dict[str, Any] = {"name": pool.name, "count": pool.count, "phase": pool.phase.value}
    return facts | ({"breaks": [list(interval) for interval in pool.breaks]} if pool.breaks else {})


def _unit(unit: ModelUnit) -> dict[str, Any]:
    facts: dict[str, Any] = {"id": unit.id, "arrival": unit.arrival, "priority": unit.priority}
    if unit.promised is not None:
        facts["promised"] = unit.promised
    return facts | {"stages": [_stage(stage) for stage in unit.stages]}


def _stage(stage: Stage) -> dict[str, Any]:
    facts: dict[str, Any] = {"name": stage.name, "takes": list(stage.takes), "frees": list(stage.frees)}
    facts["law"] = law_facts(stage.law)
    more = {"guard": stage.guard, "opens": stage.opens, "waits_for": stage.waits_for}
    return facts | {key: value for key, value in more.items() if value is not None}


def law_facts(law: Law) -> dict[str, Any]:
    """Return what the file says of a law; one that files have no name for is fitted by a log-normal one."""
    match law:
        case Fixed(value):
            return {"dist": "fixed", "value": value}
        case Uniform(least, most):
            return {"dist": "uniform", "min": least, "max": most}
        case Triangular(least, usual, most):
            return {"dist": "triangular", "min": least, "mode": usual, "max": most}
        case Pert(least, usual, most):
            return {"dist": "pert", "min": least, "mode": usual, "max": most}
        case LogNormal(median, sigma):
            return {"dist": "lognormal", "median": median, "sigma": sigma}
        case Scaled(base, per_unit, units, sigma):
            return {"dist": "scaled", "base": base, "per_unit": per_unit, "units": units, "sigma": sigma}
        case Student(location, scale, degrees, cap):
            return {"dist": "student", "location": location, "scale": scale, "df": degrees, "cap": cap}
        case Retried(first, probability, extra) if not isinstance(first, Retried):
            return law_facts(first) | {"retry": {"probability": probability, "law": law_facts(extra)}}
        case Remaining(Fixed(value), elapsed) if value > elapsed:
            return {"dist": "fixed", "value": value - elapsed}
        case _:
            return law_facts(fitted(law))


def fitted(law: Law) -> LogNormal:
    """Return the log-normal law with the median and the 80 % quantile of draws of another; always the same."""
    source = random.Random(0)  # noqa: S311 - reproducible, not secret
    drawn = [max(law.draw(source), 1e-6) for _ in range(FITTED_ON)]
    median, eighty = quantile(drawn, 0.5), quantile(drawn, 0.8)
    return LogNormal(median, math.log(eighty / median) / NORMAL_80)
