"""Changes of a day as a person says them: a small closed grammar.

    one more cable of type round        two more stations        one helper more        one charger less
    open at 07:30        close at 18:00        without unit MR-0417        crew Avocet comes at 09:30

Several are joined by "and".
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches

from benchday.domain.errors import InputError
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.stages import TECHNICIAN
from benchday.planning.forecast.variants import (
    Change,
    CloseLater,
    ComesAt,
    MoreOf,
    OpenEarlier,
    Several,
    Variant,
    Without,
    comes_later,
)
from benchday.planning.gates import CHARGER, STATION
from benchday.planning.wording import MINUTE_US, either, listed

CABLE = "cable:"
_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
COUNTS = {word: number for number, word in enumerate(_WORDS, 1)}
THINGS = {
    STATION: STATION,
    CHARGER: CHARGER,
    "adapter": "adapter",
    "helper": TECHNICIAN,
    "technician": TECHNICIAN,
    "operator": TECHNICIAN,
}
SAYABLE = (
    "one more cable of type TYPE",
    "two more stations",
    "one more adapter",
    "one more charger",
    "one helper more",
    "one cable of type TYPE less",
    "open at 07:30",
    "close at 18:00",
    "without unit SERIAL",
    "crew NAME comes at 09:30",
)
_COUNT = rf"(?P<count>[0-9]{{1,3}}|{'|'.join(COUNTS)})"
_THING = rf"(?P<thing>cables? of type (?P<type>(?:(?! and ).)+?)|(?:{'|'.join(THINGS)})s?)"
_WAY = "(?P<way>more|less)"
_TIME = r"(?P<time>[0-9]{1,2}:[0-9]{2})"


@dataclass(frozen=True, slots=True)
class Hearing:
    """What sentences are about: a day, and its clock."""

    compiled: Compiled
    at_us: Callable[[str], int]
    """Local time of the day, HH:MM -> day time."""
    opened: bool = False
    """It has opened already."""


def heard(text: str, hearing: Hearing) -> Variant:
    """Return the variant that a sentence describes.

    Raises:
        InputError: it cannot be understood, or does not fit the day; the text says what can be said.
    """
    said = " ".join(text.split())
    change = _one(said, hearing)
    if change is not None:
        return _possible(Variant(said, change), hearing)
    parts = [_one(part, hearing) for part in re.split(r",? and ", said)]
    known = tuple(part for part in parts if part is not None)
    if len(known) < len(parts):
        raise InputError(_not_understood(said, hearing))
    return _possible(Variant(said, Several(known)), hearing)


def _possible(variant: Variant, hearing: Hearing) -> Variant:
    """Return the variant if its changes go together.

    Raises:
        InputError: they do not.
    """
    try:
        variant.change(hearing.compiled)
    except ValueError as error:
        raise InputError(f"{variant.name!r} cannot be: {error}") from None
    return variant


def _one(said: str, hearing: Hearing) -> Change | None:
    """Return the change of one sentence; None if it is none of ours."""
    for pattern, change in _PATTERNS:
        found = pattern.fullmatch(said)
        if found is not None and (known := change(found, hearing)) is not None:
            return known
    return None


def _more(found: re.Match[str], hearing: Hearing) -> Change:
    count = COUNTS.get(found["count"].lower()) or int(found["count"])
    pools = {pool.name: pool.count for pool in hearing.compiled.model.pools}
    if found["type"] is not None:
        pool = _cable(found["type"], pools)
    else:
        pool = THINGS[found["thing"].lower().removesuffix("s")]
    if pool not in pools:
        raise InputError(f"{found[0]!r}: no unit of this forecast can use one; the day has {_pools(pools)}")
    if found["way"].lower() == "more":
        return MoreOf(pool, count)
    if pools[pool] - count < 1:
        raise InputError(f"{found[0]!r}: the day has {pools[pool]}, and at least one must be left")
    return MoreOf(pool, -count)


def _cable(connector: str, pools: Mapping[str, int]) -> str:
    """Return the pool of a type of cable.

    Raises:
        InputError: the day has none of it.
    """
    types = {pool.removeprefix(CABLE).lower(): pool for pool in pools if pool.startswith(CABLE)}
    if connector.lower() in types:
        return types[connector.lower()]
    known = either(sorted(pool.removeprefix(CABLE) for pool in types.values())) if types else "none"
    raise InputError(f"no cable of the day is of type {connector!r}; expected {known}{_mean(connector, types)}")


def _pools(pools: Mapping[str, int]) -> str:
    return listed(f"{count} of {name}" for name, count in pools.items())


def _open(found: re.Match[str], hearing: Hearing) -> Change:
    if hearing.opened:
        raise InputError(f"{found[0]!r}: the day has opened already")
    minutes = -_minutes(found, hearing)
    close = hearing.compiled.model.close
    if close is not None and -minutes >= close:
        raise InputError(f"{found[0]!r}: expected a time before closing")
    return OpenEarlier(minutes)


def _close(found: re.Match[str], hearing: Hearing) -> Change:
    close = hearing.compiled.model.close
    minutes = _minutes(found, hearing)
    if close is None or minutes <= 0:
        raise InputError(f"{found[0]!r}: expected a time after the day opens, and after now")
    return CloseLater(minutes - close)


def _without(found: re.Match[str], hearing: Hearing) -> Change:
    units = {unit.id.lower(): unit.id for unit in hearing.compiled.model.units}
    serial = units.get(found["serial"].lower())
    if serial is None:
        hint = _mean(found["serial"], units)
        raise InputError(f"{found[0]!r}: this forecast has no unit {found['serial']}, or it is done already{hint}")
    return Without(frozenset({serial}))


def _comes(found: re.Match[str], hearing: Hearing) -> Change | None:
    titles = {title.lower(): title for title in hearing.compiled.crews}
    title = titles.get(found["crew"].lower())
    if title is None and " and " in found["crew"]:
        # Another sentence stands before it.
        return None
    if title is None:
        hint = _mean(found["crew"], titles)
        raise InputError(f"{found[0]!r}: expected one of {either(hearing.compiled.crews)}{hint}")
    units = comes_later(hearing.compiled, title)
    if not units:
        raise InputError(f"{found[0]!r}: all its units are here already")
    minutes, close = _minutes(found, hearing), hearing.compiled.model.close
    if minutes < 0 or (close is not None and minutes >= close):
        raise InputError(f"{found[0]!r}: expected a time between opening, or now, and closing")
    return ComesAt(units, hearing.compiled.clock_us(minutes))


def _minutes(found: re.Match[str], hearing: Hearing) -> float:
    """Return a time of day as minutes of the model.

    Raises:
        InputError: it is no time of day.
    """
    text = found["time"].rjust(5, "0")
    if not re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", text):
        raise InputError(f"{found[0]!r}: expected a time of day, hours:minutes, like 09:30")
    return (hearing.at_us(text) - hearing.compiled.at_us) / MINUTE_US


def _mean(word: str, known: Mapping[str, str]) -> str:
    near = get_close_matches(word.lower(), known, n=1)
    return f" (did you mean {known[near[0]].removeprefix(CABLE)}?)" if near else ""


def _not_understood(said: str, hearing: Hearing) -> str:
    sentences = {sentence.lower(): sentence for sentence in (*SAYABLE, *_of_the_day(hearing.compiled))}
    can = "\n".join(f"  {sentence}" for sentence in SAYABLE)
    return f'{said!r} cannot be understood{_mean(said, sentences)}. What can be said, joined by "and":\n{can}'


def _of_the_day(compiled: Compiled) -> Iterator[str]:
    """Yield sentences about the day in hand, so that the nearest is one that can be said of it."""
    for pool in compiled.model.pools:
        if pool.name.startswith(CABLE):
            yield f"one more cable of type {pool.name.removeprefix(CABLE)}"
    yield from (f"{title} comes at 09:30" for title in compiled.crews)
    yield from (f"without unit {unit.id}" for unit in compiled.model.units)


_PATTERNS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str], Hearing], Change | None]], ...] = tuple(
    (re.compile(text, re.IGNORECASE), change)
    for text, change in (
        (f"{_COUNT} {_WAY} {_THING}", _more),
        (f"{_COUNT} {_THING} {_WAY}", _more),
        (f"open(?:ing)? at {_TIME}", _open),
        (f"clos(?:e|ing) at {_TIME}", _close),
        (r"without unit (?P<serial>\S+)", _without),
        (f"(?P<crew>.+) comes at {_TIME}", _comes),
    )
)
