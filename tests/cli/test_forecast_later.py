"""forecast with several dates: what closing keeps out goes on to the next one, once and not twice."""

from __future__ import annotations

import re
from pathlib import Path

from benchday.cli.commands.forecast import forecast
from benchday.cli.documents_forecast import ForecastDocument
from benchday.cli.forecast_later import later_lines
from benchday.cli.foreknown import foreknown
from benchday.inputs.day import load_day
from benchday.planning.forecast.engines import replicate
from benchday.planning.forecast.later_dates import LaterDates, later_dates
from benchday.planning.forecast.outcomes import Outcomes
from tests.cli.test_forecast import Told, asked

FIRST, SECOND, THIRD = "2026-06-16", "2026-06-17", "2026-06-19"
WORKDAY = ("08:00", "17:00")


def hours(folder: Path, *dates: tuple[str, str, str]) -> None:
    """Let the day have these dates, and one station."""
    day, bench = folder / "day.yaml", folder / "bench.yaml"
    lines = "".join(f'  - {{date: "{d}", opens: "{opens}", closes: "{closes}"}}\n' for d, opens, closes in dates)
    day.write_text(re.sub(r"hours:\n(  - .*\n)+", f"hours:\n{lines}", day.read_text("utf-8")), "utf-8")
    bench.write_text(re.sub(r"  - name: S[2-9]\n", "", bench.read_text("utf-8")), "utf-8")


def gone_on(folder: Path) -> tuple[Outcomes, LaterDates | None, str]:
    """Forecast the day; return its first date, the later ones, and what is said of them."""
    plan = load_day(folder)
    basis = foreknown(plan, folder, None, 1)
    compiled = basis.compiled(40)
    outcomes = replicate(compiled.model)
    found = later_dates(plan, basis.known, compiled, outcomes)
    return outcomes, found, "\n".join(later_lines(found, plan.zone))


def test_one_date_has_no_later_ones(day: Path) -> None:
    hours(day, (FIRST, *WORKDAY))
    _, found, said = gone_on(day)
    assert (found, said) == (None, "")


def test_what_closing_keeps_out_is_served_on_the_next_date(day: Path) -> None:
    """One station serves some fifteen of nineteen units in nine hours."""
    hours(day, (FIRST, *WORKDAY), (SECOND, *WORKDAY), (THIRD, *WORKDAY))
    outcomes, later, said = gone_on(day)
    assert later is not None
    assert later.days == 40
    second, third = later.dates
    assert (second.date, third.date) == (SECOND, THIRD)
    # What is left for the second date is what the first did not begin, of those that came.
    not_begun = {unit for day_ in outcomes.not_begun() for unit in day_}
    assert set(second.serials) <= not_begun
    assert second.needed > 0.9
    assert 0 < second.units[0] <= second.units[1] < 12
    assert (third.needed, dict(third.serials)) == (0, {})
    ends = (second.end.p50_us, second.end.p95_us, later.all_done.p95_us)
    assert all(end is not None and second.opens_us < end <= second.closes_us for end in ends)
    assert later.crews, "some crew is ready on the second date only"
    assert "What closing keeps out goes on to the later dates (of 40 drawn days)" in said
    assert f"Everything is done by {SECOND}" in said


def test_what_no_date_has_room_for_stays_undone(day: Path) -> None:
    hours(day, (FIRST, *WORKDAY), (SECOND, "08:00", "08:20"))
    _, later, said = gone_on(day)
    assert later is not None
    assert (later.dates[0].end.p50_us, later.all_done.p50_us) == (None, None)
    assert "On most days something is left after the last date." in said


def test_a_long_enough_first_date_needs_no_other(day: Path) -> None:
    hours(day, (FIRST, "00:01", "23:59"), (SECOND, *WORKDAY))
    _, later, _ = gone_on(day)
    assert later is not None
    (second,) = later.dates
    assert (second.needed, dict(second.serials), dict(later.crews)) == (0.0, {}, {})
    assert later.all_done.p95_us is not None
    assert later.all_done.p95_us < second.opens_us


def test_page_and_document_have_the_later_dates(day: Path, tmp_path: Path, capsys: Told) -> None:
    hours(day, (FIRST, *WORKDAY), (SECOND, *WORKDAY))
    forecast(asked(day, replications=20, html=tmp_path / "page.html", as_json=True))
    told = ForecastDocument.model_validate_json(capsys.readouterr().out).day
    assert told is not None
    assert told.later_dates is not None
    assert [date.date for date in told.later_dates.dates] == [SECOND]
    page = (tmp_path / "page.html").read_text("utf-8")
    assert page.index("Later dates, for what closing keeps out") < page.index("What would help most")
