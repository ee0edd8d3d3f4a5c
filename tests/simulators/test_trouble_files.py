"""Files of trouble: what they say of each unit, every mistake with its place, and when what they say is due."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path

import pytest

import benchday_playbooks
from benchday.domain.scenario import TroubleWhat, TroubleWhen
from benchday_simulators.models import MODELS
from benchday_simulators.physics import PhysicsClock
from benchday_simulators.prepare import prepare
from benchday_simulators.state import load
from benchday_simulators.trouble_file import KEYS, Script, read_troubles
from benchday_simulators.trouble_kinds import (
    KINDS,
    MOMENTS,
    WAYS,
    moments_of,
    smallest_entry,
    troubles_of,
    usual_moment,
)
from benchday_simulators.trouble_words import BadTrouble
from benchday_simulators.troubles import ALWAYS, Memory, Trouble, Troubles
from benchday_simulators.unit import Unit
from benchday_simulators.unit_log import UnitLog
from tests.house.troubles_page import PAGE, page

TROUBLES = Path(benchday_playbooks.__file__).parent / "troubles"


def written(folder: Path, text: str) -> Path:
    file = folder / "trouble.yaml"
    file.write_text(text, encoding="utf-8")
    return file


def mistakes(folder: Path, text: str) -> list[tuple[int, int, str, str, str]]:
    with pytest.raises(BadTrouble) as bad:
        Script(written(folder, text))
    return [(one.line, one.column, one.expected, one.found, one.nearest) for one in bad.value.mistakes]


def test_each_unit_gets_what_is_meant_for_it(tmp_path: Path) -> None:
    file = written(
        tmp_path,
        """
- {unit: "01", what: test fails}
- {unit: 02, when: image, what: cable out, percent: 40}
- {model: Tiller, what: no room, after_bytes: 5000}
- unit: any
  what: garbled
  chance: 0.5
  times: always
  then:
    - {what: stuck, after_seconds: 60}
    - {what: boot loop, restarts: 3, seconds: 0.5}
""",
    )
    follow = [
        Trouble("4", "identify", "garbled", chance=0.5, times=ALWAYS),
        Trouble("4.1", "", "stuck", after_seconds=60),
        Trouble("4.2", "restart", "boot loop", restarts=3, seconds=0.5),
    ]
    assert read_troubles(file, "01", "Millrace") == [Trouble("1", "test", "test fails"), *follow]
    # As it is written on the label, quoted or not.
    assert read_troubles(file, "02", "Millrace") == [Trouble("2", "image", "cable out", percent=40), *follow]
    # What a unit cannot suffer passes it by.
    assert read_troubles(file, "3", "Tiller") == [Trouble("3", "image", "no room", after_bytes=5000), follow[2]]


def test_every_mistake_is_told_at_once_with_its_place(tmp_path: Path) -> None:
    text = """
- unit: "01"
  what: cable of
  when: imag
  colour: red
- {unit: any, model: Millrace, what: silent}
- {unit: any, what: slow}
- {model: Tiler, what: silent, seconds: -1}
- {model: Tiller, what: stuck}
- {unit: any, what: no room, when: flash, chance: "0.5"}
- {unit: any, what: silent, percent: 9, after_bytes: 5, times: 0, then: [{unit: x, what: refuses, after_seconds: 1}, 5]}
- {unit: any, unit: any, what: &a silent, factor: 3}
- {unit: any, when: flash, what: cable out, after_bytes: 5.5}
- {}
"""
    assert [(line, column, word, near) for line, column, _, word, near in mistakes(tmp_path, text)] == [
        (3, 9, "cable of", "cable out"),
        (4, 9, "imag", "image"),
        (5, 3, "colour", ""),
        (6, 3, "unit and model", ""),
        (7, 21, "none", ""),
        (7, 21, "none", ""),
        (8, 11, "Tiler", "Tiller"),
        (8, 41, "-1", ""),
        (9, 25, "stuck", ""),
        (10, 36, "flash", ""),
        (10, 51, "0.5", ""),
        (11, 54, "after_bytes beside percent", ""),
        (11, 54, "bytes at identify, where none move", ""),
        (11, 64, "0", ""),
        (11, 75, "unit", ""),
        (11, 114, "a time", ""),
        (11, 118, "5", ""),
        (12, 3, "an entry without it", ""),
        (12, 15, "unit again", ""),
        (12, 32, "the anchor a", ""),
        (13, 58, "5.5", ""),
        (13, 58, "bytes at flash, where none move", ""),
        (14, 3, "neither", ""),
        (14, 3, "an entry without it", ""),
    ]


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [("[", 1, 2), ("- ", 1, 2), ("what: x", 1, 1), ("- {unit: any", 1, 13), ("\0", 1, 1), ("--- []\n--- []", 2, 1)],
)
def test_what_is_no_list_of_entries_is_one_mistake(tmp_path: Path, text: str, line: int, column: int) -> None:
    assert [told[:2] for told in mistakes(tmp_path, text)] == [(line, column)]


def test_nothing_is_no_mistake(tmp_path: Path) -> None:
    assert Script(written(tmp_path, "# a quiet day\n")).entries == []


def test_a_file_that_cannot_be_read_is_a_mistake(tmp_path: Path) -> None:
    with pytest.raises(BadTrouble, match="expected a file that can be read, found"):
        Script(tmp_path / "no.yaml")
    (tmp_path / "latin.yaml").write_bytes(b"- {unit: any, what: \xe9}")
    with pytest.raises(BadTrouble, match="expected text in UTF-8, found the byte E9 hex"):
        Script(tmp_path / "latin.yaml")


@pytest.mark.parametrize("file", sorted(TROUBLES.glob("*.yaml")), ids=lambda file: file.stem)
def test_each_shipped_file_says_the_same_when_it_is_written_anew(file: Path, tmp_path: Path) -> None:
    script = Script(file)
    again = Script(written(tmp_path, json.dumps(script.as_data())))
    for model in MODELS:
        assert again.of("1", model) == script.of("1", model)
    assert any(script.of("1", model) for model in MODELS)


def test_a_bench_is_compared_with_its_units(tmp_path: Path) -> None:
    script = Script(written(tmp_path, '- {unit: "MR-12", what: silent}\n- {unit: "TL-1", what: garbled}\n'))
    with pytest.raises(BadTrouble) as bad:
        script.check({"MR-11": "Millrace", "TL-1": "Tiller"})
    assert [(one.line, one.found, one.nearest) for one in bad.value.mistakes] == [
        (1, "MR-12", "MR-11"),
        (2, "garbled", ""),
    ]
    assert "what a Tiller can suffer: power out, " in bad.value.mistakes[1].expected


@pytest.mark.parametrize("model", MODELS)
def test_each_model_suffers_something_at_each_moment_it_meets(model: str) -> None:
    assert troubles_of(model)
    for kind in troubles_of(model):
        assert usual_moment(model, kind.what) in moments_of(model, kind.what)
    met = {moment for kind in troubles_of(model) for moment in moments_of(model, kind.what)}
    assert met == set(moments_of(model))


def test_the_table_names_what_there_is() -> None:
    for kind in KINDS.values():
        assert kind.usual in kind.moments
        assert set(kind.moments) <= set(MOMENTS)
        assert set(kind.ways) <= set(WAYS)
        assert set(kind.needs) <= set(kind.takes)
        assert any(kind in troubles_of(model) for model in MODELS)


def test_the_page_is_written_from_the_table() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "write it anew: python -m tests.house.troubles_page"
    text = PAGE.read_text(encoding="utf-8")
    assert [key for key in KEYS if f"`{key}`" not in text] == []
    assert [file.stem for file in TROUBLES.glob("*.yaml") if f"`{file.stem}`" not in text] == []


def test_the_demo_knows_no_other_words_for_trouble() -> None:
    assert {what.value for what in TroubleWhat} <= set(KINDS)
    assert {when.value for when in TroubleWhen} == set(MOMENTS)


@pytest.mark.parametrize("model", MODELS)
def test_each_kind_can_be_asked_for_at_each_of_its_moments(model: str, tmp_path: Path) -> None:
    pairs = [(kind.what, when) for kind in troubles_of(model) for when in moments_of(model, kind.what)]
    file = written(tmp_path, json.dumps([smallest_entry("0071", *pair) for pair in pairs]))
    assert [(one.what, one.when) for one in read_troubles(file, "0071", model)] == pairs


@pytest.mark.asyncio
@pytest.mark.parametrize("model", MODELS)
async def test_each_kind_befalls_each_model(model: str, tmp_path: Path) -> None:
    """Told in the log, counted in the state, and the unit goes on, refuses, or says nothing more."""
    for number, kind in enumerate(troubles_of(model)):
        folder = tmp_path / str(number)
        prepare(folder, model, "0071", 1, term="2027-03-31", recordings=[2000])
        state = load(folder)
        assert state is not None
        trouble = Trouble("1", usual_moment(model, kind.what), kind.what, seconds=9.0)
        log = UnitLog(folder / "log.jsonl")
        unit = Unit(folder, state, clock=PhysicsClock(1e6), log=log, troubles=Troubles([trouble]), key=b"")
        unit.start()
        meeting = asyncio.ensure_future(unit.meet(trouble.when))
        await asyncio.wait({meeting}, timeout=0.02)
        refused = meeting.done() and meeting.exception() is not None
        assert refused == (kind.what in {"refuses", "no room"})
        assert meeting.done() or unit.dark.is_set() or unit.state.stuck
        meeting.cancel()
        log.close()
        kept = load(folder)
        assert kept is not None
        assert kept.trouble.spent == {"1": 1}
        told = json.loads((folder / "log.jsonl").read_text().splitlines()[1])
        assert (told["kind"], told["when"], told["entry"]) == (trouble.what, trouble.when, trouble.key)


# When it is due


def due(troubles: Troubles, when: str, *passed: float, moved: float = 0) -> list[str]:
    """Let a moment begin and pass through some percentages; gives what happened."""
    found = [one.key for one in troubles.due(when, moved=moved)]
    return found + [one.key for percent in passed for one in troubles.due(when, percent, begin=False, moved=moved)]


def test_it_happens_as_often_as_it_says_and_once_in_each_pass() -> None:
    troubles = Troubles([Trouble("1", "image", "silent", percent=40, times=2)])
    assert [due(troubles, "image", 20, 39, 41, 80) for _ in range(3)] == [["1"], ["1"], []]
    assert troubles.memory.spent == {"1": 2}
    assert due(Troubles(troubles.entries, troubles.memory), "image", 90) == []


def test_bytes_are_waited_for() -> None:
    troubles = Troubles([Trouble("1", "image", "silent", after_bytes=5000)])
    assert due(troubles, "image", 10, 20, moved=4999) == []
    assert [one.key for one in troubles.due("image", 30, begin=False, moved=5000)] == ["1"]


def test_what_follows_waits_for_what_it_follows_upon() -> None:
    troubles = Troubles([Trouble("1", "image", "silent"), Trouble("1.1", "send", "garbled")])
    assert due(troubles, "send") == []
    assert due(troubles, "image") == ["1"]
    assert due(troubles, "send") == ["1.1"]


def test_always_is_each_time() -> None:
    troubles = Troubles([Trouble("1", "send", "silent", times=ALWAYS)])
    assert [due(troubles, "send") for _ in range(4)] == [["1"]] * 4


def test_chance_is_drawn_each_time_and_remembered() -> None:
    numbers = {"trouble 1 1": 0.7, "trouble 1 2": 0.4, "trouble 1 3": 0.9}
    troubles = Troubles([Trouble("1", "send", "silent", chance=0.5)], Memory(), numbers.__getitem__)
    assert [due(troubles, "send") for _ in range(2)] == [[], ["1"]]
    # Another process with the same memory does not draw the same numbers again.
    again = Troubles([Trouble("1", "send", "silent", chance=0.5, times=2)], troubles.memory, numbers.__getitem__)
    assert due(again, "send") == []


def test_times_are_since_the_start_since_a_moment_or_since_what_came_before() -> None:
    entries = [
        Trouble("1", "", "silent", after_seconds=100, times=2),
        Trouble("2", "image", "silent", after_seconds=10),
        Trouble("2.1", "", "silent", after_seconds=5),
    ]
    troubles = Troubles(entries)

    def by(now_s: float) -> list[str]:
        return [one.key for one in troubles.due_by_time(now_s)]

    assert troubles.next_s() == 100
    assert by(99) == []
    assert by(101) == ["1"]
    assert list(troubles.due("image", now_s=120)) == []
    assert troubles.next_s() == 130
    assert by(131) == ["2"]
    assert (by(135), by(136)) == ([], ["2.1"])
    assert troubles.next_s() == 200
    assert by(250) == ["1"]
    assert (troubles.next_s(), by(1e6)) == (None, [])
