"""What a maker of drivers says of itself, so that nothing need be opened to know it.

A maker is ``async def make(place: Place) -> Heron``: the class that it returns says what the driver can do. Two marks
say more: ``takes`` the settings, and ``needs`` what must be installed beside it.
"""

from __future__ import annotations

import inspect
import typing
from collections.abc import Callable, Mapping
from dataclasses import fields
from importlib.util import find_spec
from types import MappingProxyType
from typing import Any, TypeVar

from benchday.domain.seams import CAPABILITIES

_M = TypeVar("_M", bound=Callable[..., object])
_TAKES, _NEEDS, _DECLARED = "benchday_takes", "benchday_needs", "benchday_declared"


def takes(*kinds: type, **also: object) -> Callable[[_M], _M]:
    """Mark a maker with the settings that it takes: the fields of these dataclasses, and further ones by example."""
    known = {field.name: field.default for kind in kinds for field in fields(kind)} | also

    def mark(maker: _M) -> _M:
        setattr(maker, _TAKES, MappingProxyType(known))
        return maker

    return mark


def needs(extra: str, *modules: str) -> Callable[[_M], _M]:
    """Mark a maker with the extra that installs what it imports when called, and the names of those modules."""

    def mark(maker: _M) -> _M:
        setattr(maker, _NEEDS, (extra, modules))
        return maker

    return mark


def as_declared(maker: _M) -> _M:
    """Mark a maker whose drivers can do what their playbook declares, which no class tells beforehand."""
    setattr(maker, _DECLARED, True)
    return maker


def settings_of(maker: object) -> Mapping[str, object] | None:
    """Return the settings that a maker says it takes, with a value of the right kind each; None if it does not say."""
    told = getattr(maker, _TAKES, None)
    return told if isinstance(told, Mapping) else None


def missing_for(maker: object, distribution: str) -> str | None:
    """Say what must be installed before a maker can be called, if anything."""
    extra, modules = getattr(maker, _NEEDS, ("", ()))
    missing = [module for module in modules if not _is_there(module)]
    if not missing:
        return None

    return f'{", ".join(missing)} not installed: pip install "{distribution}[{extra}]"'


def _is_there(module: str) -> bool:
    try:
        return find_spec(module) is not None
    except (ImportError, ValueError):
        return False


def capabilities_made(maker: object) -> tuple[str, ...] | None:
    """Return what a maker's driver can do, by the class that the maker says it returns; None if it names none."""
    if getattr(maker, _DECLARED, False):
        return None
    try:
        made = typing.get_type_hints(maker).get("return")
    except Exception:  # noqa: BLE001  # an annotation of a stranger may name anything at all
        return None
    if not inspect.isclass(made) or made is object or made is type(None):
        return None

    return tuple(name for name, protocol in CAPABILITIES.items() if issubclass(made, protocol))


def wrong_with(maker: Any) -> str | None:
    """Say what keeps an object from being a maker, if anything does."""
    wanted = "expected async def make(place) -> driver"
    if not callable(maker):
        return f"it is no function but a {type(maker).__name__}; {wanted}"
    try:
        inspect.signature(maker).bind(None)
    except (TypeError, ValueError) as error:
        return f"it cannot be called with one place ({error}); {wanted}"
    if not inspect.iscoroutinefunction(maker if inspect.isroutine(maker) else type(maker).__call__):
        return f"it is not async; {wanted}"

    return None
