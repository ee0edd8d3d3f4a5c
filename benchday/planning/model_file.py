"""A strict reader of model and durations files: every mistake at once, each with its place."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

from benchday.domain.errors import InputError
from benchday.planning import laws
from benchday.planning.json_place import ModelMistakes, Place, parsed
from benchday.planning.model import Durations, Model, ModelUnit, Stage, checked
from benchday.planning.policy import Phase, Pool

FORM = 1
"""The form of model files that is read."""
MOST_RETRIES = 5
"""How deep a retry's law may carry a retry of its own."""


def read_model(text: str, source: str = "model file") -> Model:
    """Read a model.

    Raises:
        ModelMistakes: with everything that is wrong.
    """
    top = Place("", parsed(text, source), [])
    top.keys({"model", "pools", "units"}, {"close", "replications", "seed", "quantiles"})
    if top.has("model") and top.raw("model") != FORM:
        top.at("model").wrong(f"{FORM}, the form of model files that this program reads")
    close = top.number_or_none("close")
    replications = top.at("replications").whole(1) if top.has("replications") else 1000
    seed = top.at("seed").whole(0) if top.has("seed") else 0
    shares = tuple(p.number(0, 1) for p in top.each("quantiles")) if top.has("quantiles") else (0.5, 0.8, 0.95)
    pools = [_pool(place) for place in top.each("pools")]
    names = [pool.name for pool in pools if pool is not None]
    units = [_unit(place, names) for place in top.each("units")]
    _before_closing(top, units, close)
    top.raise_mistakes(source)

    whole_pools = tuple(pool for pool in pools if pool is not None)
    whole_units = tuple(unit for unit in units if unit is not None)
    try:
        return Model(whole_pools, whole_units, close, replications, seed, shares)
    except ValueError as wrong:
        raise ModelMistakes(source, [str(wrong)]) from None


def _before_closing(top: Place, units: Sequence[ModelUnit | None], close: float | None) -> None:
    """Refuse a unit that comes after closing: no guard would let it begin, or the time is a slip."""
    for place, unit in zip(top.each("units"), units, strict=True):
        if unit is not None and close is not None and unit.arrival > close:
            place.at("arrival").wrong(f"a time up to closing, {close:g}")


def read_durations(text: str, model: Model, source: str = "durations file") -> tuple[Durations, ...]:
    """Read the durations of each replication: ``{"durations": [replication][unit][stage]}``, minutes above 0.

    Raises:
        InputError: another shape, or a duration that is not above 0, with its place.
    """
    top = Place("", parsed(text, source), [])
    top.keys({"durations"}, set())
    days = [[[d.number() for d in row.each()] for row in day.each()] for day in top.each("durations")]
    top.raise_mistakes(source)
    for number, day in enumerate(days):
        try:
            checked(model, day)
        except InputError as wrong:
            raise ModelMistakes(source, [f"durations[{number}]: {wrong}"]) from None

    return tuple(days)


def _built(place: Place, make: Callable[[], Any]) -> Any:
    try:
        return make()
    except ValueError as wrong:
        place.mistakes.append(f"{place.where}: {wrong}")
        return None


def _pool(place: Place) -> Pool | None:
    if not place.keys({"name", "count", "phase"}, {"breaks"}):
        return None
    name, count = place.at("name").text(), place.at("count").whole(0)
    phase = place.at("phase").word([p.value for p in Phase], "a phase")
    breaks = tuple(_break(pair) for pair in place.each("breaks"))
    pool: Pool | None = _built(place, lambda: Pool(name, count, Phase(phase), breaks)) if phase else None
    return pool


def _break(place: Place) -> tuple[float, float]:
    ends = [p.number() for p in place.each()]
    if len(ends) != 2:
        place.wrong("a break's two times [from, to]")
        return (0, 1)
    return (ends[0], ends[1])


def _unit(place: Place, pools: Sequence[str]) -> ModelUnit | None:
    if not place.keys({"id", "arrival", "priority", "stages"}, {"promised"}):
        return None
    name, arrival, priority = place.at("id").text(), place.at("arrival").number(0), place.at("priority").number()
    promised = place.number_or_none("promised")
    before = len(place.mistakes)
    stages = tuple(stage for p in place.each("stages") if (stage := _stage(p, pools)) is not None)
    if len(place.mistakes) > before:
        return None
    unit: ModelUnit | None = _built(place, lambda: ModelUnit(name, arrival, priority, stages, promised))
    return unit


def _stage(place: Place, pools: Sequence[str]) -> Stage | None:
    if not place.keys({"name", "takes", "frees", "law"}, {"guard", "opens", "waits_for"}):
        return None
    law = _law(place.at("law"))
    if law is None:
        return None
    return Stage(
        name=place.at("name").text(),
        takes=tuple(p.word(pools, "a pool's name") for p in place.each("takes")),
        frees=tuple(p.word(pools, "a pool's name") for p in place.each("frees")),
        law=law,
        guard=place.at("guard").number(0) if place.has("guard") else None,
        opens=place.at("opens").text() if place.has("opens") else None,
        waits_for=place.at("waits_for").text() if place.has("waits_for") else None,
    )


_LAWS: dict[str, tuple[type, tuple[str, ...]]] = {
    "fixed": (laws.Fixed, ("value",)),
    "uniform": (laws.Uniform, ("min", "max")),
    "triangular": (laws.Triangular, ("min", "mode", "max")),
    "pert": (laws.Pert, ("min", "mode", "max")),
    "lognormal": (laws.LogNormal, ("median", "sigma")),
    "scaled": (laws.Scaled, ("base", "per_unit", "units", "sigma")),
    "student": (laws.Student, ("location", "scale", "df", "cap")),
}
"""Name in the file -> law and its keys, in the order in which it takes them. None is negative but a location."""


def _law(place: Place) -> laws.Law | None:
    if not isinstance(place.value, dict):
        place.wrong("a law, an object with dist")
        return None
    name = place.at("dist").word(list(_LAWS), "a law's name")
    if not name:
        return None
    make, keys = _LAWS[name]
    if not place.keys({"dist", *keys}, {"retry"}):
        return None
    values = [place.at(key).number(-math.inf if key == "location" else 0) for key in keys]
    bounds = [place.value[key] for key in ("min", "mode", "max") if key in keys]
    if all(isinstance(b, (int, float)) for b in bounds) and bounds != sorted(bounds):
        place.wrong(f"{', '.join(k for k in ('min', 'mode', 'max') if k in keys)} in order")
        return None
    for key in ("df", "cap", "median"):
        if key in keys and values[keys.index(key)] <= 0:
            place.at(key).wrong("a number above 0")
            return None
    law: laws.Law | None = _built(place, lambda: make(*values))
    return _retried(law, place.at("retry")) if law is not None and place.has("retry") else law


def _retried(first: laws.Law, place: Place) -> laws.Law | None:
    if place.where.count(".retry") > MOST_RETRIES:
        place.wrong(f"at most {MOST_RETRIES} retries within one another")
        return None
    if not place.keys({"probability", "law"}, set()):
        return None
    probability, extra = place.at("probability").number(0, 1), _law(place.at("law"))
    return laws.Retried(first, probability, extra) if extra is not None else None
