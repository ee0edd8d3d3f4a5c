"""A cable that comes off where nothing is half written: nothing is lost, nothing is half kept, the day goes on."""

from __future__ import annotations

from tests.days.finished import FinishedDay

UNIT = "007421530018"


def test_the_cable_did_come_off(pulled: FinishedDay) -> None:
    assert [(line["kind"], line["when"]) for line in pulled.log(UNIT, "trouble")] == [
        ("cable out", "identify"), ("cable out", "send"),
    ]  # fmt: skip


def test_whoever_stands_there_is_told_what_to_look_at(pulled: FinishedDay) -> None:
    told = [a.item["text"] for a in pulled.asked if a.item["topic"] == "silence"]
    assert told
    assert all(UNIT in text and "Is it seated at both ends?" in text for text in told)


def test_the_unit_is_identified_anew_and_served(pulled: FinishedDay) -> None:
    cut = [r for r in pulled.of("step_ended", UNIT) if r.facts["outcome"] == "cut"]
    assert cut
    for row in cut:
        following = next(r for r in pulled.of("step_begun", UNIT) if r.seq > row.seq)
        assert following.facts["step"] == "identify"
    assert pulled.units[UNIT]["outcome"] == "handed-back"
    assert (pulled.units[UNIT]["writes"], pulled.state(UNIT)["release"]) == (1, "2.10")


def test_the_archive_holds_whole_recordings_alone(pulled: FinishedDay) -> None:
    archive = pulled.record / "archive"
    files = {p.name for p in archive.rglob("*") if p.is_file()}
    erased = {r["sha256"] for r in pulled.erased(UNIT)}
    assert len(erased) == 3
    assert files == erased
    assert all(pulled.archived(name) for name in files)
    preserved = [r.facts["name"] for r in pulled.of("recording_preserved", UNIT)]
    assert len(preserved) == len(set(preserved)) == 3, "what was whole is not copied again"


def test_no_line_is_stopped_and_nothing_is_held(pulled: FinishedDay) -> None:
    assert pulled.of("line_stopped") == pulled.of("unit_held") == []
    assert len(pulled.log(UNIT, "image_begin")) == 1
