"""Mistakes in our words: what the models' checks say, told for the person who wrote the file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from pydantic_core import ErrorDetails

from benchday.domain.words import Expected
from benchday.inputs.outcome import shown

PATTERNS: Mapping[str, str] = {
    r"^[^\x00-\x1f\x7f]+$": "a name on one line",
    r"^[0-9a-f]{64}$": "a SHA-256 digest, 64 lower-case hexadecimal digits",
    r"^[a-z0-9][a-z0-9-]{0,40}$": "a short name of lower-case letters, digits and hyphens",
    r"^([0-9]{1,6}(?:\.[0-9]{1,6}){0,5})(?:-([0-9a-z]{1,20}))?$": (
        'a version in quotes, numbers joined by dots, like "2.10"'
    ),
    r"^[A-Za-z0-9][A-Za-z0-9._-]*$": "a file name of letters, digits, dots, hyphens and underscores",
    r"^[0-9a-f]{128}$": "an Ed25519 signature, 128 lower-case hexadecimal digits",
    r"^https?://[^\s]+$": "an address that begins with https:// or http://",
    r"^[\x21-\x7e]+$": "printable ASCII characters without spaces",
    r"^[\x20-\x7e]*$": "printable ASCII characters",
    r"^run$": "run",
    r"^[+-]?[0-9]{1,3}(\.[0-9]{1,10})?$": "decimal degrees, like 12.5761300",
    r"^[+-]?[0-9]{1,5}(\.[0-9]{1,4})?$": "metres, like 89.0",
    r"^[0-9]{4}(\.[0-9]{1,3})?$": "a year with its part, like 2026.5",
    r"^[A-Za-z0-9._:@-]{1,15}$": "the name of a network interface, like wlan1",
    r"^[0-9A-Fa-f.:]{2,45}$": "an address of this computer, like 192.0.2.7",
    r"^[A-Za-z0-9._-]{1,80}$": "a file name of letters, digits, dots, hyphens and underscores",
    r"^[^\x00-\x1f\x7f]*$": "text on one line",
    r"^[^\x00-\x1f\x7f:]+$": "a name on one line, without a colon",
    r"^[A-Za-z][\w-]{0,40}$": "the name of an attribute: letters, digits and hyphens",
    r"^[^,*$\x00-\x1f\x7f]+$": "text without commas, asterisks and dollar signs",
}
"""What each pattern in the models means."""

TEXT = "text"


def kind_of(value: object) -> str:
    """Name a value's kind for a person."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float, Decimal)):
        return f"the number {value}"
    if isinstance(value, Mapping):
        return "a group of keys"
    if isinstance(value, (list, tuple)):
        return "a list" if value else "an empty list"
    return shown(str(value)) or "empty text"


def _of(words: str) -> Callable[[Mapping[str, Any]], str]:
    return lambda ctx: words.format(**ctx)


def _length(ctx: Mapping[str, Any]) -> str:
    least = ctx["min_length"]
    return "at least one in this list" if least == 1 else f"at least {least} in this list"


def _pattern(ctx: Mapping[str, Any]) -> str:
    return PATTERNS.get(str(ctx["pattern"]), "text of another form")


EXPECTED: Mapping[str, Callable[[Mapping[str, Any]], str]] = {
    "bool_type": _of("true or false"),
    "decimal_parsing": _of("a number"),
    "decimal_type": _of("a number"),
    "dict_type": _of("a group of keys"),
    "enum": _of("one of {expected}"),
    "finite_number": _of("a number"),
    "greater_than": _of("a number above {gt}"),
    "greater_than_equal": _of("a number, at least {ge}"),
    "int_from_float": _of("a whole number"),
    "int_parsing_size": _of("a smaller whole number"),
    "int_type": _of("a whole number"),
    "less_than": _of("a number below {lt}"),
    "less_than_equal": _of("a number, at most {le}"),
    "literal_error": _of("one of {expected}"),
    "model_type": _of("a group of keys"),
    "none_required": _of("nothing"),
    "string_too_long": _of("text of at most {max_length} characters"),
    "string_too_short": _of("text that is not empty"),
    "string_type": _of(TEXT),
    "string_unicode": _of("text of real characters"),
    "too_long": _of("at most {max_length} in this list"),
    "too_short": _length,
    "tuple_type": _of("a list"),
    "string_pattern_mismatch": _pattern,
    "value_error": _of("something else"),  # an Expected says it better, see checked.py
    "missing": _of("the key {name}"),
    "extra_forbidden": _of("one of the keys {known}"),
}
"""pydantic's type of error -> our words for what was expected. A test proves that none is missing."""


def expected_in(error: ErrorDetails) -> str:
    """Return what a pydantic error says was expected, in our words."""
    ctx: dict[str, Any] = dict(error.get("ctx", {}))
    raised = ctx.get("error")
    if isinstance(raised, Expected):
        return raised.expected
    if raised is not None:
        return str(raised)
    if error["type"] == "missing":
        ctx["name"] = error["loc"][-1]

    told = EXPECTED.get(error["type"])
    return told(ctx).replace(" or '", " or ").replace("'", "") if told is not None else "something else"
