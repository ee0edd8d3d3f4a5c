"""forecast: a day told and as a document, its model written and read back, models from outside, mistakes named."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from benchday.cli.commands.forecast import Asked, forecast
from benchday.cli.conduct import status_of
from benchday.cli.documents_forecast import ForecastDocument
from benchday.domain.errors import InputError
from benchday.domain.kinds import UnitArrived
from benchday.domain.kinds_unit import CheckedIn
from benchday.inputs.day import load_day
from benchday.planning.model_file import read_model
from benchday.wiring import RunOptions, opened

Told = pytest.CaptureFixture[str]

SMALL: dict[str, Any] = {
    "model": 1,
    "pools": [{"name": "station", "count": 1, "phase": "places"}],
    "units": [
        {
            "id": name,
            "arrival": 0,
            "priority": 0,
            "promised": 15,
            "stages": [
                {"name": "all", "takes": ["station"], "frees": ["station"], "law": {"dist": "fixed", "value": 10}}
            ],
        }
        for name in ("u1", "u2")
    ],
    "replications": 3,
    "seed": 7,
}


def asked(folder: Path | None = None, **more: Any) -> Asked:
    """Ask for a forecast, few days of it unless told otherwise."""
    facts: dict[str, Any] = {
        "folder": folder, "model": None, "durations": None, "emit": None, "by": (),
        "replications": 60 if folder is not None else None, "seed": None, "record": None, "as_json": False,
    }  # fmt: skip
    return Asked(**(facts | more))


def document(capsys: Told, folder: Path | None = None, **more: Any) -> ForecastDocument:
    """Ask and return the document."""
    forecast(asked(folder, as_json=True, **more))
    return ForecastDocument.model_validate_json(capsys.readouterr().out)


def written(path: Path, facts: Any) -> Path:
    """Write JSON."""
    path.write_text(json.dumps(facts), encoding="utf-8")
    return path


def test_a_manager_reads_when_it_ends_and_whom_to_promise_what(day: Path, capsys: Told) -> None:
    assert forecast(asked(day, by=("16:00", "11:30"))) == 0
    told = capsys.readouterr().out
    assert "SIMULATED" in told.splitlines()[0]
    assert re.search(r"The day ends by 1\d:\d\d as likely as not, by 1\d:\d\d in 80 of 100\s+days", told)
    assert "everything done by 16:00: " in told
    assert "everything done by 17:00, when the day closes: " in told
    assert re.search(r"crew Avocet \(2\) +(\d\d:\d\d +){3}13:00  100 %", told)
    assert "What is waited for" in told
    assert "common practice, no source" in told
    assert max(map(len, told.splitlines())) <= 80
    assert "nan" not in told
    assert "inf" not in told.replace("information", "")


def test_the_document_has_the_models_numbers_and_the_days_times(day: Path, capsys: Told) -> None:
    told = document(capsys, day, by=("16:00",))
    assert told.benchday == "forecast/1"
    assert told.day is not None
    plan = load_day(day)
    assert (told.day.at_us, told.day.closes_us) == (plan.at_us("08:00"), plan.at_us("17:00"))
    assert told.day.end.p50_us == told.day.at_us + round((told.makespan.quantiles["0.5"] or 0) * 60_000_000)
    assert [(b.at_us, b.closing) for b in told.day.by] == [(plan.at_us("16:00"), False), (plan.at_us("17:00"), True)]
    assert set(told.units) == {row.serial for row in plan.roster}
    for crew in told.day.crews:
        assert crew.ready.p50_us is not None
        assert crew.ready.p95_us is not None
        assert plan.at_us("08:00") < crew.ready.p50_us < crew.ready.p95_us < plan.at_us("17:00")
        own = [u.ready.p50_us for u in told.day.ready if u.serial in crew.units]
        assert max(us for us in own if us is not None) <= crew.ready.p95_us
    assert told.day.assumptions
    assert "0555 01" not in told.model_dump_json()


def test_equal_seeds_tell_the_same_and_others_something_else(day: Path, capsys: Told) -> None:
    assert document(capsys, day, seed=4) == document(capsys, day, seed=4)
    assert document(capsys, day, seed=4).makespan != document(capsys, day, seed=5).makespan


def test_the_written_model_gives_the_same_forecast(day: Path, tmp_path: Path, capsys: Told) -> None:
    file = tmp_path / "model.json"
    of_day = document(capsys, day, emit=file, seed=3)
    of_file = document(capsys, model=file)
    assert of_file.day is None
    assert of_file.makespan == of_day.makespan
    assert of_file.units == of_day.units
    assert read_model(file.read_text(encoding="utf-8")).seed == 3
    # It is written anew over an older one.
    document(capsys, day, emit=file, seed=4)
    assert read_model(file.read_text(encoding="utf-8")).seed == 4


def test_nothing_but_a_model_is_written_over(day: Path, capsys: Told) -> None:
    assert status_of(lambda: forecast(asked(day, emit=day / "roster.csv"))) == 2
    assert "no model, so it is left as it is" in capsys.readouterr().err
    assert (day / "roster.csv").read_text(encoding="utf-8").startswith("serial")
    assert status_of(lambda: forecast(asked(day, emit=day / "nowhere" / "m.json"))) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_a_model_from_outside(tmp_path: Path, capsys: Told) -> None:
    told = document(capsys, model=written(tmp_path / "m.json", SMALL), all=True, trace=True)
    assert told.makespan.quantiles == {"0.5": 20, "0.8": 20, "0.95": 20}
    assert (told.makespan.mean, told.makespan.sd, told.makespan.min, told.makespan.max) == (20, 0, 20, 20)
    assert told.late.mean_units_late == 1
    assert told.late.mean_total_tardiness == 5
    assert told.units["u2"].late_probability == 1
    assert told.finish == [[10, 20]] * 3
    assert told.makespans is None
    assert told.trace is not None
    assert [(s.stage, s.start, s.end) for s in told.trace["u2"]] == [("all", 10, 20)]


def test_given_durations_are_run_as_they_are(tmp_path: Path, capsys: Told) -> None:
    model = written(tmp_path / "m.json", SMALL)
    durations = written(tmp_path / "d.json", {"durations": [[[3], [4]], [[5.5], [6]]]})
    told = document(capsys, model=model, durations=durations)
    assert told.makespans == [7, 11.5]
    assert told.not_begun == [[], []]


def test_a_model_told_in_lines(tmp_path: Path, capsys: Told) -> None:
    assert forecast(asked(model=written(tmp_path / "m.json", SMALL))) == 0
    told = capsys.readouterr().out
    assert "2 units, 3 days run" in told
    assert re.search(r"u2 +20\.0 min +20\.0 min +20\.0 min +100 % +0 %", told)


MISTAKES: dict[str, tuple[dict[str, Any], str]] = {
    "neither": ({}, "name either the day's folder"),
    "no file": ({"model": Path("missing.json")}, "--model missing.json cannot be read"),
    "a time": ({"folder": Path(), "by": ("4 pm",)}, "expected a time of day, hours:minutes, like 16:00"),
    "all of a day": ({"folder": Path(), "all": True}, "--all belongs to --model FILE"),
    "by of a model": ({"model": Path("m.json"), "by": ("16:00",)}, "--by belongs to a day's folder"),
}


@pytest.mark.parametrize(("wrong", "said"), MISTAKES.values(), ids=MISTAKES)
def test_what_does_not_go_together_is_said(
    wrong: dict[str, Any], said: str, day: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(day)
    with pytest.raises(InputError, match=re.escape(said)):
        forecast(asked(**wrong))


def test_mistakes_in_a_model_are_told_with_their_places(tmp_path: Path, capsys: Told) -> None:
    wrong = json.loads(json.dumps(SMALL))
    wrong["units"][1]["stages"][0]["takes"] = ["statoin"]
    wrong["units"][0]["arrival"] = -1
    file = written(tmp_path / "m.json", wrong)
    assert status_of(lambda: forecast(asked(model=file))) == 2
    said = capsys.readouterr().err
    assert "units[1].stages[0].takes[0]" in said
    assert "did you mean station?" in said
    assert "units[0].arrival" in said
    durations = written(tmp_path / "d.json", {"durations": [[[3], [0]]]})
    assert status_of(lambda: forecast(asked(model=written(file, SMALL), durations=durations))) == 2
    assert "unit u2, stage all: a duration is above 0 minutes" in capsys.readouterr().err
    file.write_bytes(b"\xff\xfe\x00")
    assert status_of(lambda: forecast(asked(model=file))) == 2
    assert "UTF-8" in capsys.readouterr().err


def test_a_model_without_an_image_stops_with_status_3(day: Path, capsys: Told) -> None:
    images = day / "images" / "images.yaml"
    head, *blocks = re.split(r"(?=  - file)", images.read_text(encoding="utf-8"))
    images.write_text(head + "".join(b for b in blocks if "osier" not in b), encoding="utf-8")
    assert forecast(asked(day)) == 3
    told = capsys.readouterr().out
    assert "! OS8812-0417" in told.split("Cannot be begun")[1]


def test_a_day_too_short_says_who_cannot_be_begun(day: Path, capsys: Told) -> None:
    file = day / "day.yaml"
    file.write_text(file.read_text(encoding="utf-8").replace('closes: "17:00"', 'closes: "11:05"'), encoding="utf-8")
    roster = day / "roster.csv"
    text = roster.read_text(encoding="utf-8")
    text = re.sub(r",(\d\d:\d\d),\d\d:\d\d,", r",\1,,", text)
    roster.write_text(text.replace(",13:00,", ",11:00,"), encoding="utf-8")
    told = document(capsys, day)
    assert told.day is not None
    kept_out = [c for c in told.day.cannot_begin if c.share >= 0.5]
    assert kept_out
    assert all("too late to be verified by then" in c.reason and c.stops for c in kept_out)
    assert told.day.by[-1].share < 0.2
    assert forecast(asked(day)) == 3


@pytest.mark.asyncio
async def test_a_day_that_runs_is_forecast_from_where_it_stands(day: Path, capsys: Told) -> None:
    came = CheckedIn(
        brought_by_ref=None, condition_ref=None, missing=[], consent_release=True, consent_erase=True,
        consent_copy=True, keep_days=30, charge_percent=80,
    )  # fmt: skip
    serial = load_day(day).roster[0].serial
    async with opened(day, load_day(day), RunOptions(speed_milli=1000, watch=False)) as (tools, _):
        await tools.book.append(UnitArrived(checked_in=came).draft(unit=serial))
    told = document(capsys, day)
    assert told.day is not None
    assert told.day.under_way
    assert told.day.at_us >= load_day(day).at_us("08:00")
    assert len(told.units) == 19
    assert forecast(asked(day)) == 0
    assert "under way, as it stood at 08:0" in capsys.readouterr().out


def test_a_record_of_the_other_sort_says_nothing(day: Path, tmp_path: Path, capsys: Told) -> None:
    other = Path(shutil.copytree(day, tmp_path / "other"))
    assert document(capsys, day, record=other / "nothing").day == document(capsys, day).day
