"""Plain values as YAML 1.2 that this program reads back: text that could be taken for something else is quoted."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence

from benchday.inputs.scalars import unquoted_trouble, value_of

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_-]*( [A-Za-z0-9_-]+)*")
_WORDS_THAT_MISLEAD = frozenset({"yes", "no", "on", "off", "y", "n"})
"""Text in YAML 1.2, true and false in YAML 1.1."""


def scalar(value: object) -> str:
    """Return one value as it is written."""
    if value is None or isinstance(value, (bool, int, float)):
        return json.dumps(value)

    text = str(value)
    misleading = text.casefold() in _WORDS_THAT_MISLEAD or unquoted_trouble(text) is not None
    if _PLAIN.fullmatch(text) and isinstance(value_of(text), str) and not misleading:
        return text
    return json.dumps(text, ensure_ascii=False)


def yaml_lines(value: object, indent: str = "") -> Iterator[str]:
    """Yield the lines of a group or list."""
    pairs = _pairs(value)
    for lead, inner in pairs:
        if _is_box(inner) and inner:
            if lead == "- ":
                first, *others = yaml_lines(inner, indent + "  ")
                yield indent + "- " + first.removeprefix(indent + "  ")
                yield from others
            elif _is_short(inner):
                yield f"{indent}{lead} [{', '.join(scalar(part) for part in _parts(inner))}]"
            else:
                yield indent + lead
                yield from yaml_lines(inner, indent + "  ")
        else:
            written = ("{}" if isinstance(inner, Mapping) else "[]") if _is_box(inner) else scalar(inner)
            yield f"{indent}{lead}{written}" if lead == "- " else f"{indent}{lead} {written}"


def _pairs(value: object) -> Iterator[tuple[str, object]]:
    if isinstance(value, Mapping):
        yield from ((f"{scalar(key)}:", inner) for key, inner in value.items())
    else:
        yield from (("- ", inner) for inner in _parts(value))


def _parts(value: object) -> Sequence[object]:
    return value if isinstance(value, (list, tuple)) else ()


def _is_box(value: object) -> bool:
    return isinstance(value, (Mapping, list, tuple))


def _is_short(value: object) -> bool:
    return bool(_parts(value)) and not any(_is_box(part) for part in _parts(value))
