"""The picture fits every size exactly and hides nothing that it does not count."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from prompt_toolkit.utils import get_cwidth

from benchday.cli.day_view import AsideView, StationView
from benchday.cli.terminal.paint import PLAIN, Signs, bar, fit
from benchday.cli.terminal.picture import picture
from benchday.cli.terminal.prompts import Question
from benchday.cli.terminal.view import QueueRow, View

SIZES = [(80, 24), (200, 60), (132, 43), (100, 30), (60, 20), (40, 13), (30, 8), (250, 24), (80, 60)]
VIEW = View(
    day="Service day of a trust with a long name and an ü and a 測",
    time="10:42",
    closes="17:00",
    ends="",
    free={},
    operator="Ines Halloran",
    simulated=True,
    stations=tuple(
        StationView(f"S{n}", f"0074215300{n:02}", "Millrace", "Avocet", "write", "sending", 10 * n) for n in range(1, 9)
    ),
    until={"S1": "11:05"},
    waiting=tuple(AsideView(f"W{n}", "Osier", "Knot", "waiting", "for a station") for n in range(12)),
    held=tuple(AsideView(f"H{n}", "Osier", "Knot", "held", "the unit does not answer") for n in range(7)),
    stopped=("Millrace 2.10: verify failed",),
    queue=tuple(QueueRow(str(n), "S1", f"U{n}", f"Look at {n}", n == 1, "", n != 2) for n in range(1, 40)),
    selected="30",
    opened=False,
    title="Item 30",
    text="\n".join(f"line {n}" for n in range(50)),
    scroll=0,
    question=Question("What now?", "anything"),
    message="said last",
)


def drawn(view: View, columns: int, rows: int, signs: Signs = Signs()) -> list[str]:  # noqa: B008 - frozen
    """Return the picture as plain lines."""
    return ["".join(text for _, text in line) for line in picture(view, columns, rows, signs)]


@pytest.mark.parametrize(("columns", "rows"), SIZES)
@pytest.mark.parametrize("opened", [False, True])
def test_every_line_is_as_wide_as_the_terminal(columns: int, rows: int, opened: bool) -> None:
    lines = drawn(replace(VIEW, opened=opened), columns, rows)
    assert len(lines) == rows
    assert {get_cwidth(line) for line in lines} == {columns}


@pytest.mark.parametrize(("columns", "rows"), [s for s in SIZES if s[0] >= 60])
def test_what_does_not_fit_is_counted_with_the_way_to_see_it(columns: int, rows: int) -> None:
    text = "\n".join(drawn(VIEW, columns, rows))
    listed = len(re.findall(r"Look at \d+", text))
    hidden = sum(map(int, re.findall(r"(\d+) (?:above|below)", text)))
    assert listed + hidden == len(VIEW.queue)
    assert "▸" in text, "the selected item is among those listed"
    stations = len(set(re.findall(r"\bS(\d) +0074", text)))
    more = re.search(r"and (\d+) more stations: /stations", text)
    assert stations + (int(more[1]) if more else 0) == len(VIEW.stations)
    waiting = len(set(re.findall(r"\bW\d+\b", text)))
    rest = re.search(r"(\d+) more: /waiting", text)
    assert waiting + (int(rest[1]) if rest else 0) == len(VIEW.waiting)
    assert f"of {50}: PgUp, PgDn" in text
    assert "STOPPED" in text.upper()


def test_places_do_not_move_when_the_day_moves_on() -> None:
    later = replace(VIEW, queue=VIEW.queue[:2], waiting=(), held=(), selected="1", text="short", message="", stopped=())
    before, after = drawn(VIEW, 80, 23), drawn(later, 80, 23)
    for name in ("── Stations", "── For hands", "── Item 30", " What now?"):
        assert [n for n, line in enumerate(before) if line.startswith(name)] == [
            n for n, line in enumerate(after) if line.startswith(name)
        ]


def test_a_long_message_is_not_cut_and_moves_nothing_else() -> None:
    said = (
        "STILL BEING WRITTEN, would be left half written: 007421530018, 007421530104, WS-41-00297. Once more ends it."
    )
    before, after = drawn(VIEW, 80, 23), drawn(replace(VIEW, message=said), 80, 23)
    assert " ".join("".join(after[-3:-1]).split()) == said
    assert before[:-3] == after[:-3]
    assert after[-1].startswith(" What now?")


def test_a_terminal_without_utf8_gets_plain_signs() -> None:
    text = "".join(drawn(replace(VIEW, day="day"), 80, 23, PLAIN))
    assert text.isascii()


def test_bars_and_cuts() -> None:
    assert bar(50, 4, PLAIN) == "##.."
    assert bar(250, 4, PLAIN) == "####"
    assert fit("abcdef", 4, PLAIN) == "abc~"
    assert fit("測測測", 4, PLAIN) == "測~ "
