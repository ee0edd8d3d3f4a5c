"""Figures with their units, times and digests as people read them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, tzinfo
from typing import Any

SHORT_DIGITS = 16
"""How many hexadecimal digits of a digest are shown."""

_SUFFIXES = {
    "_percent": "%",
    "_mwh": "mWh",
    "_mw": "mW",
    "_mv": "mV",
    "_ma": "mA",
    "_bytes": "bytes",
    "_minutes": "min",
    "_seconds": "s",
    "_days": "days",
    "_khz": "kHz",
    "_hz": "Hz",
}


def local(at_us: int, zone: tzinfo) -> str:
    """Return a moment as local time with its UTC offset (ISO 8601), to the second."""
    return datetime.fromtimestamp(at_us // 1_000_000, UTC).astimezone(zone).isoformat()


def clock(at_us: int, zone: tzinfo) -> str:
    """Return a moment as local time of day, HH:MM."""
    return datetime.fromtimestamp(at_us // 1_000_000, UTC).astimezone(zone).strftime("%H:%M")


def duration(us: int) -> str:
    """Return a duration as people say it: 40 s, 3 min 5 s, 1 h 20 min."""
    seconds = round(us / 1_000_000)
    if seconds < 60:
        return f"{seconds} s"
    minutes, rest = divmod(seconds, 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60} min"


def size(count: int) -> str:
    """Return a size in bytes, with thousands set apart."""
    return f"{count:,} bytes" if count != 1 else "1 byte"


def short(digest: str | None) -> str:
    """Return the first digits of a digest."""
    return f"{digest[:SHORT_DIGITS]}..." if digest else "not told"


def celsius(tenths_of_kelvin: int) -> str:
    """Return a temperature told in tenths of a kelvin as degrees Celsius."""
    tenths = tenths_of_kelvin - 2731
    return f"{'-' if tenths < 0 else ''}{abs(tenths) // 10}.{abs(tenths) % 10} °C"


def figure(name: str, value: object, zone: tzinfo = UTC) -> str:
    """Return one named figure with its unit, which is the suffix of its name."""
    whole = isinstance(value, int) and not isinstance(value, bool)
    if whole and isinstance(value, int):
        if name.endswith(("_at_us", "closes_us", "ends_us")):
            return f"{_words(name.removesuffix('_us'))} {local(value, zone)}"
        if name.endswith("_us"):
            return f"{_words(name.removesuffix('_us'))} {duration(value)}"
        if name.endswith("_dk"):
            return f"{_words(name.removesuffix('_dk'))} {celsius(value)}"
        for suffix, unit in _SUFFIXES.items():
            if name.endswith(suffix):
                return f"{_words(name.removesuffix(suffix))} {value:,} {unit}"
    if isinstance(value, str) and re.fullmatch(r"[0-9a-f]{64}", value):
        return f"{_words(name)} {short(value)}"
    return f"{_words(name)} {value}"


def figures(named: Mapping[str, Any], zone: tzinfo = UTC) -> str:
    """Return figures in one line; empty if there are none."""
    return ", ".join(figure(name, value, zone) for name, value in named.items())


def _words(name: str) -> str:
    return name.replace("_", " ")
