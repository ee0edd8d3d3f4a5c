"""A driver's settings, as a playbook gives them, turned into frozen values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import Any, TypeVar

from benchday.domain.errors import InputError

_T = TypeVar("_T")


def taken_from(kind: type[_T], settings: Mapping[str, object]) -> _T:
    """Build a dataclass of plain values from the settings of its fields' names; the others keep their defaults.

    Raises:
        InputError: a value is of another type than the default, or the dataclass refuses it.
    """
    taken: dict[str, object] = {}
    for field in fields(kind):  # type: ignore[arg-type]  # only dataclasses are handed in
        if field.name in settings:
            taken[field.name] = _checked(field, settings[field.name])

    return kind(**taken)


def _checked(field: Any, value: object) -> object:
    whole_for_part = isinstance(field.default, float) and type(value) is int
    if whole_for_part or type(value) is type(field.default):
        return value

    raise InputError(f"driver setting {field.name} is {value!r}; expected something like {field.default!r}")


def refuse_unknown(settings: Mapping[str, object], kinds: Iterable[type], also: Iterable[str] = ()) -> None:
    """Refuse settings that no part of a driver takes.

    Raises:
        InputError: naming them and what is possible.
    """
    known = {field.name for kind in kinds for field in fields(kind)} | set(also)
    unknown = sorted(set(settings) - known)
    if unknown:
        raise InputError(f"unknown driver settings: {', '.join(unknown)}; possible: {', '.join(sorted(known))}")
