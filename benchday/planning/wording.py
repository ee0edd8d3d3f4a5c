"""Figures as a technician reads them."""

from __future__ import annotations

from collections.abc import Iterable

MINUTE_US = 60_000_000
"""Microseconds in a minute."""


def minutes_up(us: int) -> int:
    """Return microseconds as whole minutes, rounded up."""
    return -(-us // MINUTE_US)


def in_minutes(us: int) -> str:
    """Word a duration given in microseconds, rounded up to whole minutes."""
    hours, minutes = divmod(minutes_up(us), 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"


def in_bytes(count: int) -> str:
    """Word a size in decimal units (ISO 80000-1): 1 MB is 1,000,000 bytes."""
    for unit, size in (("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if count >= size:
            return f"{count / size:.1f} {unit}"

    return f"{count} bytes"


def in_mwh(mwh: int) -> str:
    """Word an energy given in milliwatt-hours, every digit shown."""
    return f"{mwh:,} mWh"


def in_percent(share: float) -> str:
    """Word a chance; what is nearly certain is never called certain."""
    if 0 < share < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < share < 1 else f"{100 * share:.0f} %"


def counted(count: int, one: str) -> str:
    """Word a count of things: 1 recording, 3 recordings."""
    return f"{count} {one}" if count == 1 else f"{count} {one}s"


def listed(words: Iterable[str]) -> str:
    """Join words as a list in a sentence: a, b and c."""
    *most, last = list(words) or ["nothing"]
    return f"{', '.join(most)} and {last}" if most else last


def either(words: Iterable[str]) -> str:
    """Join words as a choice in a sentence: a, b or c."""
    *most, last = list(words) or ["nothing"]
    return f"{', '.join(most)} or {last}" if most else last
