"""What the shop's own days say of how long steps take, per model and step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from benchday.domain.entries import Entry


def durations_of(entries: Iterable[Entry]) -> Mapping[str, Mapping[str, Sequence[int]]]:
    """Return model -> step -> durations in microseconds, of steps that ended well.

    Only real days at speed 1 teach: what a simulated day or another speed took says nothing of the shop. A step in
    which the bench PC slept teaches nothing.
    """
    found: dict[str, dict[str, list[int]]] = {}
    models: dict[str, str] = {}
    slept_us = 0
    teaches = False
    for entry in entries:
        facts = entry.facts
        if entry.kind == "day_begun":
            teaches = not facts["simulated"] and facts["speed_milli"] == 1000
            models = {}
        elif entry.kind in ("unit_expected", "unit_walked_in") and entry.unit is not None:
            models[entry.unit] = facts["model"]
        elif entry.kind == "pc_slept":
            slept_us = entry.at_us
        elif entry.kind == "step_ended" and teaches and facts["outcome"] == "done" and entry.unit in models:
            if entry.at_us - facts["took_us"] <= slept_us:
                continue
            found.setdefault(models[entry.unit], {}).setdefault(facts["step"], []).append(facts["took_us"])
    return found
