"""A small subset of JSONPath (RFC 9535): what a declared page picks its values with.

Names (``$.power.charge``, ``$['charge state']``), indexes (``$.jobs[0]``, ``[-1]`` for the last) and the wildcard
(``$.jobs[*]``, ``$.settings.*``). No filters, no slices, no descent, no functions: the work is bounded by the answer.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import Enum
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from benchday.domain.words import Expected

MOST_STEPS = 20
_STEP = re.compile(
    r"""\.(?P<name>[A-Za-z_][A-Za-z0-9_]*)
      | \.(?P<star>\*)
      | \[(?P<index>-?(?:0|[1-9][0-9]{0,8}))\]
      | \[(?P<every>\*)\]
      | \['(?P<single>[^'\\\x00-\x1f]{0,80})'\]
      | \["(?P<double>[^"\\\x00-\x1f]{0,80})"\]""",
    re.VERBOSE,
)


class Every(Enum):
    """The wildcard."""

    EVERY = "*"


Step = str | int | Every


def json_steps(path: str) -> tuple[Step, ...]:
    """Return the steps of a path.

    Raises:
        Expected: it is none of this subset.
    """
    expected = "a path like $.power.charge, $.jobs[0] or $.jobs[*].name (names, indexes and * of RFC 9535)"
    if not path.startswith("$"):
        raise Expected(expected)
    at, steps = 1, list[Step]()
    while at < len(path):
        match = _STEP.match(path, at)
        if match is None or len(steps) == MOST_STEPS:
            raise Expected(expected, found=f"{path}, which cannot be read from {path[at:]!r} on")
        at = match.end()
        steps.append(_step(match))
    return tuple(steps)


def _step(match: re.Match[str]) -> Step:
    if match["star"] or match["every"]:
        return Every.EVERY
    if match["index"] is not None:
        return int(match["index"])
    return next(text for text in (match["name"], match["single"], match["double"]) if text is not None)


def found_in(value: Any, path: str) -> list[Any]:
    """Return what a path finds in a JSON value, in order; nothing where it leads nowhere."""
    found = [value]
    for step in json_steps(path):
        found = [inner for one in found for inner in _under(one, step)]
    return found


def _under(value: Any, step: Step) -> list[Any]:
    if isinstance(value, Mapping):
        if step is Every.EVERY:
            return list(value.values())
        return [value[step]] if isinstance(step, str) and step in value else []
    if isinstance(value, list):
        if step is Every.EVERY:
            return list(value)
        return [value[step]] if isinstance(step, int) and -len(value) <= step < len(value) else []
    return []


def _json_path(text: str) -> str:
    json_steps(text)
    return text


JsonPath = Annotated[str, Field(max_length=200, examples=["$.power.charge"]), AfterValidator(_json_path)]
"""A path of this subset."""
