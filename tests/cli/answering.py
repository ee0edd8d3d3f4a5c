"""Somebody at the pipe for whom all is well."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def value_for(item: Mapping[str, Any], label: str) -> dict[str, Any]:
    """Answer an item.

    Args:
        item: as the pipe tells it.
        label: the last four characters on the unit's label, for a confirmation.
    """
    if item["topic"] == "confirm":
        return {"answer": "write", "label": label}
    given: dict[str, Any] = {}
    for wanted in item["wanted"]:
        match wanted["kind"]:
            case "choice":
                given[wanted["name"]] = wanted["choices"][0]
            case "flag":
                given[wanted["name"]] = True
            case "integer":
                given[wanted["name"]] = 90
            case "text" if wanted["required"]:
                given[wanted["name"]] = "Maren Oakhurst"
    return given
