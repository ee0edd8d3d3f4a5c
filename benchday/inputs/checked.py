"""Checks what a file says against its model, and points at every place that is wrong."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from benchday.domain.errors import Mistake
from benchday.domain.words import Expected, FileModel
from benchday.inputs.outcome import nearest, shown
from benchday.inputs.source import read_bytes
from benchday.inputs.wording import PATTERNS, expected_in, kind_of
from benchday.inputs.yaml_text import KeyPath, YamlText, read_yaml

Model = TypeVar("Model", bound=FileModel)


def model_of(folder: Path, name: str, model: type[Model], mistakes: list[Mistake]) -> Model | None:
    """Read one file of a folder as its model, or None; what is wrong is added to the mistakes."""
    data = read_bytes(folder / name, name, mistakes)
    if data is None:
        return None
    text = read_yaml(data, name)
    made = checked(text, model)
    mistakes += text.mistakes
    return made


def checked(text: YamlText, model: type[Model]) -> Model | None:
    """Return the file as its model, or None; what is wrong is added to the file's mistakes."""
    if text.value is None and text.mistakes:
        return None
    if not isinstance(text.value, dict):
        found = "nothing" if text.value is None else kind_of(text.value)
        text.mistakes.append(text.mistake((), "a group of keys, each on its own line like name: value", found))
        return None

    try:
        # Through JSON: only there does strict checking take a list for a tuple and text for a word of a closed list.
        made = model.model_validate_json(json.dumps(text.value))
    except ValidationError as error:
        text.mistakes += _mistakes(text, error.errors(include_url=False), model.model_json_schema(by_alias=True))
        return None

    return None if text.mistakes else made


def _mistakes(text: YamlText, errors: list[ErrorDetails], schema: Mapping[str, Any]) -> Iterator[Mistake]:
    """Yield each mistake once; a value that may be of several kinds gives one mistake, not one for each kind."""
    whole = [error for error in errors if not _follows(error)]
    for place, alternatives in groupby(whole, key=lambda error: _place(text, error)):
        made = list(dict.fromkeys(_mistake(text, error, schema) for error in alternatives))
        if place is None or len(made) == 1:
            yield from made
        else:
            yield replace(made[0], expected=" or ".join(mistake.expected for mistake in made))


def _follows(error: ErrorDetails) -> bool:
    """Tell whether a list is called too short only because things in it are wrong, which is told by itself."""
    return error["type"] == "too_short" and len(error["input"]) >= error["ctx"]["min_length"]


def _place(text: YamlText, error: ErrorDetails) -> KeyPath | None:
    """Return where a value of several possible kinds stands (pydantic adds the kind to its path), else None."""
    path: KeyPath = error["loc"]
    if error["type"] in ("missing", "extra_forbidden") or path in text.values:
        return None
    while path and path not in text.values:
        path = path[:-1]
    return path


def _mistake(text: YamlText, error: ErrorDetails, schema: Mapping[str, Any]) -> Mistake:
    path: KeyPath = error["loc"]
    if error["type"] == "extra_forbidden":
        return _unknown_key(text, path, schema)
    if error["type"] == "missing":
        spot = text.spot(path[:-1])
        return Mistake(text.file, spot.line, spot.column, expected_in(error), "no such key here")

    raised = error.get("ctx", {}).get("error")
    if isinstance(raised, Expected):
        path = (*path, *raised.at)
    value = error["input"] if not isinstance(raised, Expected) or not raised.at else _at(error["input"], raised.at)
    found = raised.found if isinstance(raised, Expected) and raised.found else _found(text, path, value)
    near = raised.nearest if isinstance(raised, Expected) else _near(value, path, schema)
    return text.mistake(path, _expected(error, path, value, schema), found, near)


def _at(value: object, path: KeyPath) -> object:
    for step in path:
        try:
            value = value[step]  # type: ignore[index]
        except (KeyError, IndexError, TypeError):
            return value
    return value


def _unknown_key(text: YamlText, path: KeyPath, schema: Mapping[str, Any]) -> Mistake:
    known = _part(schema, path[:-1]).get("properties", {})
    spot = text.keys.get(path, text.spot(path))
    key = str(path[-1])
    return Mistake(
        text.file, spot.line, spot.column, "one of the keys " + ", ".join(known), shown(key), nearest(key, known)
    )


def _expected(error: ErrorDetails, path: KeyPath, value: object, schema: Mapping[str, Any]) -> str:
    expected = expected_in(error)
    if error["type"] == "string_type" and isinstance(value, (int, float, bool)):
        worded = PATTERNS.get(str(_part(schema, path).get("pattern")), "text")
        return worded if "quotes" in worded else f"{worded} in quotes"
    return expected


def _found(text: YamlText, path: KeyPath, value: object) -> str:
    """Name what stands there; for a bare number, with what YAML made of it."""
    spot = text.spot(path)
    if isinstance(value, (int, float)) and not isinstance(value, bool) and spot.raw is not None and not spot.quoted:
        read = repr(value)
        if read != spot.raw:
            return f"the number {read}: unquoted, YAML reads {shown(spot.raw)} as {read}"
        return f"the number {read}"
    return kind_of(value)


def _near(value: object, path: KeyPath, schema: Mapping[str, Any]) -> str | None:
    words = _part(schema, path).get("enum", [])
    return nearest(str(value), [str(w) for w in words]) if isinstance(value, str) and words else None


def _part(schema: Mapping[str, Any], path: KeyPath) -> Mapping[str, Any]:
    """Return the part of a JSON Schema that speaks of the value at this path; empty where none does."""
    part: Mapping[str, Any] = _resolved(schema, schema)
    for step in path:
        if isinstance(step, int):
            inner = part.get("items", {})
        else:
            inner = part.get("properties", {}).get(step, part.get("additionalProperties", {}))
        part = _resolved(inner, schema) if isinstance(inner, Mapping) else {}
    return part


def _resolved(part: Mapping[str, Any], schema: Mapping[str, Any]) -> Mapping[str, Any]:
    if "$ref" in part:
        name = str(part["$ref"]).rsplit("/", 1)[-1]
        return _resolved(schema["$defs"][name], schema)
    for choice in part.get("anyOf", ()):  # an optional value: the branch that is something
        if choice.get("type") != "null":
            return _resolved(choice, schema)
    return part
