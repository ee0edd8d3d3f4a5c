"""forecast with an order, changes, another plan and promises: told in lines and as a document, mistakes named."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from benchday.cli.app import app
from benchday.cli.commands.forecast import Asked, forecast
from benchday.cli.documents_forecast import ForecastDocument
from benchday.cli.documents_gains import FurtherPart
from benchday.cli.forecast_options import Options
from benchday.domain.errors import InputError, MistakesFound

Told = pytest.CaptureFixture[str]


def ask(folder: Path, **options: Any) -> Asked:
    """Ask for a few days of a forecast, and something besides."""
    return Asked(folder, None, None, None, (), 60, None, None, as_json=False, besides=Options(**options))


def lines(capsys: Told, folder: Path, **options: Any) -> str:
    """Return what is told."""
    forecast(ask(folder, **options))
    told = capsys.readouterr().out
    # The folder of another plan stands on a line of its own, as long as it is.
    assert max(len(line) for line in told.splitlines() if "/" not in line) <= 80
    return told


def further(capsys: Told, folder: Path, **options: Any) -> FurtherPart:
    """Return what the document has besides."""
    forecast(Asked(folder, None, None, None, (), 60, None, None, as_json=True, besides=Options(**options)))
    day = ForecastDocument.model_validate_json(capsys.readouterr().out).day
    assert day is not None
    return day.further


def with_costs(day: Path) -> None:
    """Say in a day what things cost."""
    path = day / "day.yaml"
    costs = "\ncosts:\n  helper_hour: 40\n  late_hour: 90.5\n  cable:\n    round: 120\n  currency: EUR\n"
    path.write_text(path.read_text(encoding="utf-8") + costs, encoding="utf-8")


def test_by_itself_it_says_what_would_help_most(day: Path, capsys: Told) -> None:
    told = lines(capsys, day)
    assert "What would help most" in told
    assert "Buys nothing that can be told from chance: " in told
    assert "one more cable of type round" in " ".join(told.split())
    assert "on 60 days with the same chances" in " ".join(told.split())
    found = further(capsys, day)
    assert {"one more station", "one more helper", "opening 30 min earlier"} <= {g.change for g in found.would_help}
    assert [g.p80_minutes.value for g in found.would_help] == sorted(
        (g.p80_minutes.value for g in found.would_help), reverse=True
    )
    assert (found.what_if, found.against, found.promises, found.order) == ([], None, None, None)


def test_named_changes_are_told_in_their_order(day: Path, capsys: Told) -> None:
    said = ("close at 18:00", "one more station and open at 07:30", "close at 18:00")
    told = lines(capsys, day, what_if=said)
    assert "What would help most" not in told
    assert told.index("close at 18:00") < told.index("one more station and open")
    assert "close at 18:00: buys nothing" in told
    found = further(capsys, day, what_if=said)
    assert [gain.change for gain in found.what_if] == ["close at 18:00", "one more station and open at 07:30"]


def test_a_change_that_cannot_be_understood_lists_what_can_be_said(day: Path) -> None:
    with pytest.raises(InputError, match=r"(?s)did you mean one more cable of type round\?.*without unit SERIAL"):
        forecast(ask(day, what_if=("one more cables of typ round",)))


def test_with_costs_the_minutes_for_the_money_are_told(day: Path, capsys: Told) -> None:
    with_costs(day)
    told = lines(capsys, day, what_if=("one more cable of type round", "one helper more", "one more station"))
    assert re.search(r"80 % +less late +begun +cost +min/EUR", told)
    assert re.search(r"one more cable of type round .* 120 ", told)
    assert re.search(r"one helper more .* 360 ", told)
    found = further(capsys, day, what_if=("one more cable of type round", "one more station"))
    assert [(g.cost, g.minutes_per_money is None) for g in found.what_if] == [(120.0, False), (None, True)]
    assert found.currency == "EUR"


def test_a_plan_against_itself_is_no_different(day: Path, tmp_path: Path, capsys: Told) -> None:
    other = tmp_path / "other"
    shutil.copytree(day, other)
    found = further(capsys, day, against=other)
    assert found.against is not None
    assert (found.against.p80_minutes.value, found.against.p80_minutes.error) == (0.0, 0.0)
    assert {(c.p80_minutes.value, c.p80_minutes.error) for c in found.against.crews} == {(0.0, 0.0)}


def test_a_plan_with_one_station_is_later_on_another_date_too(day: Path, tmp_path: Path, capsys: Told) -> None:
    other = tmp_path / "other"
    shutil.copytree(day, other)
    bench, hours = other / "bench.yaml", other / "day.yaml"
    text = bench.read_text(encoding="utf-8")
    fewer = re.sub(r"(?m)^stations:\n(  - .*\n)(  - .*\n|    .*\n)*", r"stations:\n\1", text)
    assert fewer != text
    bench.write_text(fewer, encoding="utf-8")
    dates = hours.read_text(encoding="utf-8")
    hours.write_text(re.sub(r'date: "(\d{4})-', lambda m: f'date: "{int(m[1])}-', dates), encoding="utf-8")
    told = lines(capsys, day, against=other)
    assert "Against the other plan: how much earlier that one is done" in told
    assert re.search(r"everything +-\d+ \+-\d+ +-\d+ \+-\d+", told)


def test_mistakes_in_the_other_plan_are_named(day: Path, tmp_path: Path) -> None:
    with pytest.raises((InputError, MistakesFound)):
        forecast(ask(day, against=tmp_path / "nothing"))


def test_promises_are_told_with_what_holds_together(day: Path, capsys: Told) -> None:
    told = lines(capsys, day, promise=0.9)
    assert "What can be promised, each with 90 %" in told
    assert re.search(r"crew Avocet +\d\d:[0-5][05] +(9\d|100) %", told)
    assert re.search(r"All of these hold together in \d+ of 100 days", told)
    assert "When crews might come instead" in told
    assert re.search(r"\d+ units of this mix, all done by closing in at least 90 of 100", told)
    found = further(capsys, day, promise=0.9).promises
    assert found is not None
    assert all(crew.holds >= 0.9 for crew in found.crews)
    assert found.together <= min(crew.holds for crew in found.crews)
    assert found.fits_units
    assert found.drop_offs is not None


@pytest.mark.parametrize("probability", [0.0, 0.4, 1.0, 95.0, float("nan")])
def test_a_promise_needs_a_probability(day: Path, probability: float) -> None:
    with pytest.raises(InputError, match=r"expected a probability from 0\.5 to 0\.999, like 0\.95"):
        forecast(ask(day, promise=probability))


def test_an_order_is_searched_and_the_day_told_in_it(day: Path, capsys: Told) -> None:
    told = lines(capsys, day, search=0.3)
    assert "The order in which units go first" in told
    found = further(capsys, day, search=0.3).order
    assert found is not None
    assert found.tried > 20
    assert (found.left_out, found.late_minutes, found.end_minutes) <= (
        found.first_come_left_out,
        found.first_come_late_minutes,
        found.first_come_end_minutes,
    )


def test_what_is_asked_besides_belongs_to_a_day(tmp_path: Path, capsys: Told) -> None:
    model = tmp_path / "model.json"
    model.write_text("{}", encoding="utf-8")
    for option, value in (("--what-if", "open at 07:30"), ("--against", "x"), ("--promise", "0.9"), ("--search", "1")):
        with pytest.raises(SystemExit) as end:
            app(["forecast", "--model", str(model), option, value])
        assert end.value.code == 2
        assert f"{option} belongs to a day's folder" in capsys.readouterr().err
