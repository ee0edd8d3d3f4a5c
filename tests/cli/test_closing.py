"""What stands against closing a day, and logs without secrets."""

from __future__ import annotations

import io
import json
import logging
from pathlib import Path

import pytest
import structlog

from benchday.cli.closing import Answers, against, mistakes, overnight_of, stays, unanswered
from benchday.domain.clean import clean
from benchday.domain.fold import DayState
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.logs import logger, set_up
from tests.cli.small_day import CONFIRMED, WRITTEN, small_day


@pytest.mark.asyncio
async def test_a_unit_on_a_station_stands_against_closing(day: Path) -> None:
    async with small_day(day) as small:
        standing = against(small.desk.state)
        assert any(WRITTEN in text and "station S1" in text for text in standing)
        assert any(CONFIRMED in text for text in standing)
        assert {s.serial for s in stays(small.desk.state)} == {WRITTEN, CONFIRMED}
        nothing = unanswered(small.desk.state, small.desk.plan, Answers())
        assert len(nothing) == 4
        said = Answers({WRITTEN: "shelf", CONFIRMED: "shelf"}, packs_off=True, cables_counted=True)
        assert unanswered(small.desk.state, small.desk.plan, said) == []
        wrong = mistakes(small.desk.state, small.desk.plan, Answers({"X": "shelf"}, missing_cables=frozenset({"Q9"})))
        assert len(wrong) == 2


def test_a_unit_that_was_taken_as_it_is_stays_nowhere_overnight() -> None:
    here, gone = (UnitStory(n, "Millrace", "", "", "none", 0, state=State.HELD, taken=n == "2") for n in "12")
    assert stays(DayState(units={"1": here, "2": gone})) == [here]


def test_pairs_are_read_and_others_are_told() -> None:
    assert overnight_of(("A=hold shelf", "B", "=x")) == (
        {"A": "hold shelf"},
        [f"--overnight {p}: expected SERIAL=WHERE, like 007421530018=hold shelf" for p in ("B", "=x")],
    )


def test_logs_are_json_lines_with_what_was_bound_and_without_secrets() -> None:
    stream = io.StringIO()
    set_up(level=logging.INFO, stream=stream)
    structlog.get_logger().bind(unit="X1", station="S1").info("line opened", password="hunter2", simulator_key="ab")  # noqa: S106
    structlog.reset_defaults()
    told = json.loads(stream.getvalue())
    assert (told["event"], told["unit"], told["station"], told["level"]) == ("line opened", "X1", "S1", "info")
    assert {told["password"], told["simulator_key"]} == {"(not logged)"}


def test_clean_text_stays_as_it_is() -> None:
    assert clean("22.0 °C ü 測") == "22.0 °C ü 測"
    assert clean("a\nb") == "a b"
    assert clean("a\nb\r", keep_lines=True) == "a\nb\\x0d"


def test_a_log_whose_stream_is_gone_stops_nothing() -> None:
    stream = io.StringIO()
    set_up(stream=stream)
    log = logger().bind(unit="u")
    stream.close()
    log.warning("line failed", step="identify")


def test_nothing_is_logged_before_logging_is_set_up(capfd: pytest.CaptureFixture[str]) -> None:
    structlog.reset_defaults()
    logger().bind(unit="u").warning("line failed")
    assert capfd.readouterr() == ("", "")
