"""No mistake is told in pydantic's words: every type of error that the models can give has ours."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from benchday.inputs.schemas import FILES, schema
from benchday.inputs.wording import EXPECTED, PATTERNS

CAN_GIVE: Mapping[str, set[str]] = {
    "str": {"string_type", "string_unicode"},
    "int": {"int_type", "int_from_float", "int_parsing_size"},
    "decimal": {"decimal_type", "decimal_parsing", "finite_number"},
    "bool": {"bool_type"},
    "enum": {"enum"},
    "literal": {"literal_error"},
    "tuple": {"tuple_type"},
    "dict": {"dict_type"},
    "model": {"model_type"},
    "model-fields": {"missing", "extra_forbidden"},
    "function-after": {"value_error"},
    "function-before": {"value_error"},
    "nullable": set(),
    "union": set(),
    "default": set(),
    "definitions": set(),
    "definition-ref": set(),
    "none": {"none_required"},
}
"""Type of a core schema -> the types of error it can give. An unknown one fails the test."""

CONSTRAINTS = {
    "gt": "greater_than",
    "ge": "greater_than_equal",
    "lt": "less_than",
    "le": "less_than_equal",
    "pattern": "string_pattern_mismatch",
}
LENGTHS = {
    ("str", "min_length"): "string_too_short",
    ("str", "max_length"): "string_too_long",
    ("tuple", "min_length"): "too_short",
    ("tuple", "max_length"): "too_long",
    ("dict", "max_length"): "too_long",
}


def errors_of(part: object) -> Iterator[str]:
    """Yield the types of error that a core schema can give."""
    if isinstance(part, list | tuple):
        for inner in part:
            yield from errors_of(inner)
    elif isinstance(part, dict):
        kind = part.get("type")
        if isinstance(kind, str) and kind != "model-field":
            assert kind in CAN_GIVE, f"say which errors the core schema {kind} can give"
            yield from CAN_GIVE[kind]
            for name in part:
                if name in CONSTRAINTS:
                    yield CONSTRAINTS[name]
                if (kind, name) in LENGTHS:
                    yield LENGTHS[kind, name]
        for name, inner in part.items():
            if name not in ("metadata", "serialization", "ref", "cls", "members", "default", "function"):
                yield from errors_of(inner)


@pytest.mark.parametrize("name", FILES)
def test_every_error_type_is_worded(name: str) -> None:
    FILES[name].model_rebuild()  # models are built when first used, which may not have been yet
    reachable = set(errors_of(FILES[name].__pydantic_core_schema__))

    assert {"missing", "extra_forbidden", "string_type"} <= reachable
    assert reachable <= set(EXPECTED)


def patterns(part: Any) -> Iterator[str]:
    """Yield the patterns of a JSON Schema."""
    if isinstance(part, dict):
        if isinstance(part.get("pattern"), str):
            yield part["pattern"]
        for inner in part.values():
            yield from patterns(inner)
    elif isinstance(part, list):
        for inner in part:
            yield from patterns(inner)


@pytest.mark.parametrize("name", FILES)
def test_every_pattern_is_worded(name: str) -> None:
    assert set(patterns(schema(name))) <= set(PATTERNS)
