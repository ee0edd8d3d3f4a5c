"""Two demo days on which much goes wrong with three units: each ends as it should, and the day ends."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator, Sequence

import pytest

from tests.days.finished import ROOT, DemoProcess, FinishedDay

ROVER, BASE, SECOND = "007421530018", "WS-41-00297", "007421530104"
SPEED = 200
"""At which a slow computer keeps up with what is tried and tried again."""
CUT_AND_LOST = f"""\
- {{unit: "{ROVER}", what: power out, when: image, percent: 40, seconds: 1}}
- {{unit: "{BASE}", what: settings lost}}
- {{unit: "{SECOND}", what: wrong serial, when: restart}}
"""
BEYOND = f"""\
- {{unit: "{ROVER}", what: boot loader only, times: always}}
- {{unit: "{BASE}", what: recordings vanish}}
- {{unit: "{SECOND}", what: options lost}}
"""


@pytest.fixture(scope="module")
def days(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sequence[DemoProcess]]:
    """Begin both."""
    folder = tmp_path_factory.mktemp("recovery")
    begun = []
    for name, trouble in (("cut", CUT_AND_LOST), ("beyond", BEYOND)):
        file = folder / f"{name}.yaml"
        file.write_text(trouble, encoding="utf-8")
        begun.append(DemoProcess.begun(folder / name, 3, 1, SPEED, "--trouble", str(file)))
    yield begun
    for day in begun:
        day.let_go()


@pytest.fixture(scope="module")
def cut(days: Sequence[DemoProcess]) -> FinishedDay:
    """Give the day on which power fails in a write, settings are lost and a serial changes."""
    return days[0].finished(500)


@pytest.fixture(scope="module")
def beyond(days: Sequence[DemoProcess]) -> FinishedDay:
    """Give the day on which a unit cannot be recovered, options are lost and recordings vanish."""
    return days[1].finished(500)


def codes(day: FinishedDay, serial: str) -> list[str]:
    """Return the codes of a unit's holds."""
    return [r.facts["code"] for r in day.of("unit_held", serial)]


def test_power_that_fails_in_a_write_costs_a_second_permit_and_nothing_else(cut: FinishedDay) -> None:
    assert cut.units[ROVER]["outcome"] == "handed-back"
    assert set(codes(cut, ROVER)) == {"interrupted"}
    assert cut.of("interrupt_settled", ROVER)[-1].facts["found"] == "broken"
    assert len({r.facts["permit"] for r in cut.of("act_spent", ROVER)}) == 2
    assert cut.state(ROVER)["release"] == "2.10"
    settings = {s.facts["when"]: s.facts["sha256"] for s in cut.of("settings_saved", ROVER)}
    assert settings["before"] == settings["after"]


def test_lost_settings_are_named_field_by_field(cut: FinishedDay) -> None:
    assert cut.units[BASE]["outcome"] == "held"
    (failed,) = cut.of("verify_failed", BASE)
    before = cut.of("settings_saved", BASE)[0].facts["settings"]
    lost = {name for name in before for p in failed.facts["problems"] if f"{name} is 0, before {before[name]}" in p}
    assert {"frequency_khz", "bandwidth_hz"} <= lost
    assert len(lost) == len(failed.facts["problems"])
    assert "settings lost" in {a.item["topic"] for a in cut.asked if a.item["unit"] == BASE}


def test_another_serial_after_the_restart_is_held_and_nothing_more_is_asked(cut: FinishedDay) -> None:
    assert cut.units[SECOND]["outcome"] == "held"
    assert codes(cut, SECOND)[0] == "identity"
    assert not cut.of("unit_verified", SECOND)
    held = cut.of("unit_held", SECOND)[0]
    assert not [r for r in cut.of("settings_saved", SECOND) if r.seq > held.seq]


def test_what_cannot_be_recovered_goes_back_with_an_account(beyond: FinishedDay) -> None:
    assert beyond.units[ROVER]["outcome"] == "held"
    assert codes(beyond, ROVER)[-1] == "not recovered"
    (ended,), (taken,) = beyond.of("attempts_ended", ROVER), beyond.of("taken_as_it_is", ROVER)
    assert ended.operator
    assert ended.seq < taken.seq
    assert len(beyond.of("act_spent", ROVER)) == 2
    told = subprocess.run(
        [sys.executable, "-m", "benchday.cli.main", "unit", ROVER, "--day", str(beyond.folder)],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert told.returncode == 0, told.stderr
    words = " ".join(told.stdout.split())
    for line in ended.facts["account"]:
        assert " ".join(line.split()) in words
    for recording in beyond.erased(ROVER):
        assert beyond.archived(recording["sha256"])


def test_options_that_were_lost_are_named(beyond: FinishedDay) -> None:
    assert (beyond.units[SECOND]["outcome"], codes(beyond, SECOND)) == ("held", ["verify"])
    assert "installed options are none, before" in beyond.of("verify_failed", SECOND)[0].facts["problems"][0]


def test_recordings_that_vanish_stop_with_names_and_sizes(beyond: FinishedDay) -> None:
    assert (beyond.units[BASE]["outcome"], codes(beyond, BASE)) == ("held", ["recordings"])
    (listed,) = beyond.of("recordings_listed", BASE)[0].facts["recordings"]
    stop = next(f for f in beyond.of("checked", BASE)[-1].facts["findings"] if f["answer"] == "stop")
    assert stop["figures"] == {"gone": 1, "gone_bytes": listed["bytes"]}
    assert listed["name"] in stop["text"]
    assert beyond.units[BASE]["writes"] == 0


def test_every_line_that_was_stopped_was_lifted_by_a_person_with_a_reason(
    cut: FinishedDay, beyond: FinishedDay
) -> None:
    for day in (cut, beyond):
        assert day.of("line_stopped")
        for lifted in day.of("line_lifted"):
            assert lifted.operator
            assert lifted.facts["reason"]
