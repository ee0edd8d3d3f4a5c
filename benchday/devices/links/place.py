"""Where a unit is reached, as a person writes it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from benchday.domain.errors import LinkNotFound

_SCHEME = re.compile(r"([a-z][a-z0-9+-]+):(?://)?(.*)", re.DOTALL)
_LARGEST_POINTER = 4096


@dataclass(frozen=True, slots=True)
class PlaceRead:
    """A place taken apart."""

    scheme: str
    rest: str
    """What follows the scheme: a port's path, or host:port."""
    told: Mapping[str, str] = field(default_factory=dict, repr=False)
    """Everything the pointing file said; it may hold a password, so it is never shown."""


def read_place(where: str) -> PlaceRead:
    """Take a place apart, following a JSON file that points on.

    Raises:
        LinkNotFound: the pointing file cannot be read.
    """
    told: Mapping[str, str] = {}
    if _is_pointer(Path(where)):
        told = _pointed_at(Path(where))
        where = told["url"]

    match = _SCHEME.fullmatch(where)
    if match is None or len(match[1]) == 1:  # a drive letter is no scheme
        return PlaceRead("serial", where, told)

    return PlaceRead(match[1], match[2], told)


def _is_pointer(path: Path) -> bool:
    # A link to a port may be called anything; a port is never read to see what it is.
    return path.is_file() or (path.suffix == ".json" and not path.exists())


def _pointed_at(path: Path) -> Mapping[str, str]:
    try:
        told = json.loads(path.read_text(encoding="utf-8")[:_LARGEST_POINTER])
    except FileNotFoundError:
        raise LinkNotFound(f"{path} is not there: is the unit on, and plugged in?") from None
    except (OSError, ValueError, RecursionError) as error:
        raise LinkNotFound(f"{path} should say in JSON where the unit is, but cannot be read: {error}") from None
    if not isinstance(told, dict) or not isinstance(told.get("url"), str):
        raise LinkNotFound(f'{path} should hold JSON like {{"url": "socket://192.0.2.7:4001"}}')

    return {str(name): str(value) for name, value in told.items()}
