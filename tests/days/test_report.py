"""The report of the demo, the same day again, and another day with the same seed."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Any

import pytest

from tests.days.finished import DemoProcess, FinishedDay

HEX = set("0123456789abcdef")
OUTCOMES = {"handed-back", "ready", "held", "absent", "not-begun"}
FIELDS: dict[str, tuple[type, ...]] = {
    "serial": (str,), "reported_serial": (str, type(None)), "model": (str,), "crew": (str, type(None)),
    "had": (str, type(None)), "has": (str, type(None)), "target": (str, type(None)), "route": (list,),
    "writes": (int,), "permits": (int,), "outcome": (str,), "reason": (str,), "findings": (list,),
    "preserved": (list,), "minutes": (int, type(None)),
}  # fmt: skip


def test_the_report_keeps_the_contract(day: FinishedDay) -> None:
    assert (day.report["benchday"], day.report["simulated"], day.report["finished"]) == ("demo/1", True, True)
    for unit in day.report["units"]:
        assert set(unit) == set(FIELDS)
        for name, kinds in FIELDS.items():
            assert type(unit[name]) in kinds, f"{name} of {unit['serial']} is {unit[name]!r}"
        assert unit["outcome"] in OUTCOMES
        assert unit["reason"]
        for finding in unit["findings"]:
            assert {"check", "answer", "text", "figures"} <= set(finding)
            assert finding["answer"] in ("clear", "ask", "stop")
        for kept in unit["preserved"]:
            assert set(kept) == {"name", "sha256", "bytes"}
            assert len(kept["sha256"]) == 64
            assert set(kept["sha256"]) <= HEX


def test_the_report_says_what_the_journal_says(day: FinishedDay) -> None:
    for serial, unit in day.units.items():
        assert unit["permits"] == len(day.of("permit_given", serial))
        assert unit["writes"] == (len(day.of("unit_verified", serial)) if day.of("act_spent", serial) else 0)
        assert {(r["name"], r["sha256"]) for r in unit["preserved"]} == {
            (r.facts["name"], r.facts["sha256"]) for r in day.of("recording_preserved", serial)
        }
        assert unit["findings"] == (day.of("checked", serial)[-1].facts["findings"] if unit["findings"] else [])
        began, ended = day.of("place_granted", serial), [*day.of("unit_ready", serial), *day.of("unit_held", serial)]
        stations = [r for r in began if r.facts["pool"] == "station"]
        if unit["outcome"] != "absent":
            assert abs(unit["minutes"] - (ended[-1].at_us - stations[0].at_us) / 60_000_000) <= 1


def _digests(folder: Path) -> dict[str, Any]:
    """Return the digest of every file, of the journal's content too; what a reader of SQLite leaves behind is empty."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix != ".lock" and not path.name.endswith("-shm")
        if not (path.name.endswith("-wal") and path.stat().st_size == 0)
    }


def test_a_finished_day_run_again_reports_the_same_and_changes_nothing(day: FinishedDay) -> None:
    before = _digests(day.folder)
    again = DemoProcess.begun(day.folder, 20, 1, 600).finished(30)
    assert again.report == day.report
    assert _digests(day.folder) == before


def test_simulators_end_with_the_day(day: FinishedDay) -> None:
    for serial in day.units:
        assert not (day.folder / "instruments" / serial / "running.json").exists()
    for entry in Path("/proc").glob("[0-9]*") if os.name == "posix" else ():
        try:
            words = (entry / "cmdline").read_bytes()
        except OSError:
            continue
        assert str(day.folder).encode() not in words, f"process {entry.name} still runs: {words!r}"


def test_equal_seeds_give_equal_days_at_any_speed(pair: tuple[FinishedDay, FinishedDay]) -> None:
    one, other = (day.outlines() for day in pair)
    for serial, outline in one.items():
        assert outline == other[serial]
    assert one.keys() == other.keys()
    images = [{p.name: p.read_bytes() for p in (day.folder / "images").iterdir()} for day in pair]
    assert images[0] == images[1]


def test_another_seed_gives_another_day(pair: tuple[FinishedDay, FinishedDay], day: FinishedDay) -> None:
    """So that the comparison above can fail."""
    first = next(iter(day.units))
    assert day.outlines()[first]["preserved"] != pair[0].outlines()[first]["preserved"]


@pytest.mark.parametrize("serial", ["007421530018", "WS-41-00297"])
def test_more_trouble_befalls_the_instruments(troubled: FinishedDay, serial: str) -> None:
    assert troubled.log(serial, "trouble")
    assert troubled.units[serial]["outcome"] == "handed-back"


def test_a_write_cut_short_is_repeated_only_under_a_new_permit(troubled: FinishedDay) -> None:
    serial = "007421530018"
    assert [r.facts["outcome"] for r in troubled.of("act_ended", serial)] == ["cut", "whole"]
    assert {r.facts["code"] for r in troubled.of("unit_held", serial)} == {"interrupted"}
    assert [r.facts["found"] for r in troubled.of("interrupt_settled", serial)] == ["broken"]
    permits = [r.facts["permit"] for r in troubled.of("act_spent", serial)]
    assert len(set(permits)) == 2
    decided = next(a for a in troubled.asked if a.item["topic"] == "interrupted")
    assert decided.item["safety"]
    held, again = troubled.of("unit_held", serial)[0], troubled.of("act_spent", serial)[1]
    assert held.seq < decided.answered.seq < again.seq
    assert troubled.state(serial)["release"] == "2.10"
    settings = {s.facts["when"]: s.facts["sha256"] for s in troubled.of("settings_saved", serial)}
    assert settings["before"] == settings["after"]
    for recording in troubled.erased(serial):
        assert troubled.archived(recording["sha256"])


def test_a_unit_that_stays_silent_after_a_cut_is_not_carried_off(troubled: FinishedDay) -> None:
    """Half written, it stays where it is until somebody has seen what it is; no other reason takes its place."""
    serial = "007421530018"
    held, settled = troubled.of("unit_held", serial)[0], troubled.of("interrupt_settled", serial)[0]
    between = [r for r in troubled.rows if r.unit == serial and held.seq < r.seq < settled.seq]
    assert not [r for r in between if r.kind == "place_freed"]
    off = [line for line in troubled.log(serial, "power") if not line["on"] and held.wall_us < line["at_us"]]
    assert not [line for line in off if line["at_us"] < settled.wall_us]


def test_a_lost_last_acknowledgement_is_asked_for_again(troubled: FinishedDay) -> None:
    serial = "WS-41-00297"
    assert [r.facts["outcome"] for r in troubled.of("act_ended", serial)] == ["whole"]
    assert len(troubled.log(serial, "image_begin")) == 1
    assert (troubled.units[serial]["writes"], troubled.state(serial)["release"]) == (1, "2.9")


def test_a_garbled_answer_is_asked_for_again(troubled: FinishedDay) -> None:
    serial = "007421530104"
    assert [line["kind"] for line in troubled.log(serial, "trouble")] == ["garbled"]
    assert not troubled.of("unit_held", serial)
    assert troubled.units[serial]["outcome"] == "handed-back"
