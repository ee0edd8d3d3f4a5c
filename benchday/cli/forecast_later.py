"""Later dates of a day, told: whether they are needed, for how many, and when everything is done."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, tzinfo
from typing import Any

from benchday.cli.document_parts import Part
from benchday.cli.forecast_page import More
from benchday.cli.forecast_view import COLUMNS, NEVER, table
from benchday.cli.output import wrapped
from benchday.domain.clean import clean
from benchday.domain.telling.figures import clock
from benchday.planning.forecast.later_dates import DateTold, LaterDates
from benchday.planning.forecast.telling import When
from benchday.planning.wording import counted, in_percent

HEADS = ("", "needed", "units", "done by 50 %", "80 %", "95 %")
READY = ("", "ready by 50 %", "80 %", "95 %")


class LaterWhenPart(Part):
    """Day times by which in 50, 80 and 95 of 100 days; null: not on any date in so many."""

    p50_us: int | None
    p80_us: int | None
    p95_us: int | None


class LeftPart(Part):
    """A unit that is not always done on the dates before."""

    serial: str
    share: float
    """Of the drawn days looked at."""


class LaterCountPart(Part):
    """How many units come over to a date, of the days on which it is needed."""

    p50: int
    p80: int


class LaterDatePart(Part):
    """A later date of the day."""

    date: str
    opens_us: int
    closes_us: int
    needed: float
    """Share of days in which something is left for it."""
    units: LaterCountPart
    end: LaterWhenPart
    """Of the days in which it is needed."""
    left: list[LeftPart]


class LaterCrewPart(Part):
    """A crew that is not always ready on the first date."""

    crew: str
    ready: LaterWhenPart


class LaterDatesPart(Part):
    """What closing keeps out on the first date, on the dates after it."""

    days: int
    """Drawn days that were looked at."""
    dates: list[LaterDatePart]
    all_done: LaterWhenPart
    crews: list[LaterCrewPart]


def later_lines(found: LaterDates | None, zone: tzinfo) -> Iterator[str]:
    """Yield what later dates are needed for; nothing where the day has one date."""
    if found is None:
        return
    yield f"\nWhat closing keeps out goes on to the later dates (of {counted(found.days, 'drawn day')})"
    yield from table([HEADS, *(_row(date, zone) for date in found.dates)])
    yield wrapped(words(found, zone), "  ", "  ", columns=COLUMNS)
    if found.crews:
        yield from table([READY, *((clean(title), *_times(ready, zone)) for title, ready in found.crews.items())])


def later_tables(found: LaterDates | None, zone: tzinfo) -> Iterator[More]:
    """Yield the same as tables of the page."""
    if found is None:
        return
    dates = tuple(_row(date, zone) for date in found.dates)
    yield More("Later dates, for what closing keeps out", HEADS, dates, words(found, zone))
    if found.crews:
        rows = tuple((clean(title), *_times(ready, zone)) for title, ready in found.crews.items())
        yield More("Crews that are not always ready on the first date", READY, rows, "")


def later_facts(found: LaterDates | None) -> dict[str, Any] | None:
    """Return the same as a part of the document; None where the day has one date."""
    if found is None:
        return None
    return {
        "days": found.days,
        "dates": [
            {
                "date": date.date,
                "opens_us": date.opens_us,
                "closes_us": date.closes_us,
                "needed": date.needed,
                "units": {"p50": date.units[0], "p80": date.units[1]},
                "end": _when_facts(date.end),
                "left": [{"serial": serial, "share": share} for serial, share in date.serials.items()],
            }
            for date in found.dates
        ],
        "all_done": _when_facts(found.all_done),
        "crews": [{"crew": title, "ready": _when_facts(ready)} for title, ready in found.crews.items()],
    }


def _when_facts(when: When) -> dict[str, int | None]:
    return {"p50_us": when.p50_us, "p80_us": when.p80_us, "p95_us": when.p95_us}


def words(found: LaterDates, zone: tzinfo) -> str:
    """Say when everything is done."""
    fifty, eighty, ninety_five = _times(found.all_done, zone)
    if fifty == NEVER:
        return "On most days something is left after the last date."
    said = f"Everything is done by {fifty} on 50 of 100 days"
    if eighty == NEVER:
        return f"{said}; on more than 20 something is left after the last date."
    if ninety_five == NEVER:
        return f"{said}, by {eighty} on 80; on more than 5 something is left after the last date."
    return f"{said}, by {eighty} on 80, by {ninety_five} on 95."


def _row(date: DateTold, zone: tzinfo) -> tuple[str, ...]:
    hours = f"{date.date} {clock(date.opens_us, zone)} to {clock(date.closes_us, zone)}"
    few, more = date.units
    units = str(few) if few == more else f"{few} to {more}"
    ends = [NEVER if us is None else clock(us, zone) for us in (date.end.p50_us, date.end.p80_us, date.end.p95_us)]
    if not date.needed:
        return hours, in_percent(0.0), "0", NEVER, NEVER, NEVER
    return hours, in_percent(date.needed), units, *ends


def _times(when: When, zone: tzinfo) -> tuple[str, str, str]:
    fifty, eighty, ninety_five = (
        NEVER if us is None else f"{datetime.fromtimestamp(us / 1e6, zone):%Y-%m-%d} {clock(us, zone)}"
        for us in (when.p50_us, when.p80_us, when.p95_us)
    )
    return fifty, eighty, ninety_five
