"""What an unquoted word is: text, a number, true or false, nothing (YAML 1.2.2, core schema, section 10.3.2)."""

from __future__ import annotations

import re

_INT = re.compile(r"[-+]?[0-9]+")
_OTHER_BASE = re.compile(r"0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NO_FLOAT = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")
_WORDS: dict[str, bool | None] = {
    "": None, "~": None, "null": None, "Null": None, "NULL": None,
    "true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False,
}  # fmt: skip
_DATE = re.compile(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}([Tt \t].*)?")
_TIME = re.compile(r"[0-9]{1,2}:[0-5]?[0-9](:[0-5]?[0-9])?")

NO_NUMBER = object()
"""Stands for a number that is none (infinite, not a number) or has too many digits to be meant."""


def value_of(raw: str) -> object:
    """Return what an unquoted word means."""
    if raw in _WORDS:
        return _WORDS[raw]
    if len(raw) > 24 and (_INT.fullmatch(raw) or _FLOAT.fullmatch(raw)):
        return NO_NUMBER
    if _OTHER_BASE.fullmatch(raw) or _NO_FLOAT.fullmatch(raw):
        return NO_NUMBER
    if _INT.fullmatch(raw):
        return int(raw) if len(raw.lstrip("+-")) <= 15 else NO_NUMBER
    if _FLOAT.fullmatch(raw):
        number = float(raw)
        return number if abs(number) < 1e15 else NO_NUMBER

    return raw


def unquoted_trouble(raw: str) -> tuple[str, str] | None:
    """Return what was expected and found where a bare date or time stands; other readers make something else of it."""
    if _TIME.fullmatch(raw):
        return f'a time in quotes, like "{raw}"', f"{raw} without quotes: some YAML readers take it for a number"
    if _DATE.fullmatch(raw):
        return f'a date in quotes, like "{raw}"', f"{raw} without quotes: some YAML readers do not take it for text"

    return None
