"""The full screen in a real pseudo-terminal, beside a station that ticks ten times a second."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from tests.cli.small_day import CONFIRMED, EXPECTED, WRITTEN
from tests.cli.terminal import Terminal

SIZES = [(80, 24), (200, 60)]
COLOURS = re.compile(rb"\x1b\[(?:\d+;)*(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])[;\dm]")
ROOT = Path(__file__).parents[2]


@contextmanager
def at_work(
    day: Path, columns: int = 80, rows: int = 24, more_items: int = 0, **environment: str
) -> Iterator[Terminal]:
    """Run the small day in a terminal until its screen is there."""
    arguments = ["-m", "tests.cli.small_day", str(day), str(more_items)]
    with Terminal(arguments, columns, rows, {"PYTHONPATH": str(ROOT), **environment}) as terminal:
        terminal.wait_for("Scan or type a code")
        terminal.wait_for("%")
        yield terminal


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_a_serial_typed_while_a_station_ticks_is_never_broken(day: Path, columns: int, rows: int) -> None:
    with at_work(day, columns, rows) as terminal:
        percents = set()
        for typed in range(1, len(EXPECTED) + 1):
            terminal.type(EXPECTED[typed - 1])
            for _ in range(2):
                terminal.read(0.05)
                shown = terminal.input_line.removeprefix(" >").strip()
                assert EXPECTED.startswith(shown)
            percents |= set(re.findall(r"(\d+) %", terminal.text))
        terminal.wait_for(lambda: terminal.input_line == f" > {EXPECTED}")
        assert len(percents) > 1, "the station's progress was redrawn meanwhile"


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_what_matters_is_on_the_screen_at_each_size(day: Path, columns: int, rows: int) -> None:
    with at_work(day, columns, rows) as terminal:
        for seen in (
            WRITTEN,
            "write",
            CONFIRMED[:-4],
            "SIMULATED",
            "Ines Halloran acts",
            "For hands: 1",
            "LOST FOR GOOD",
        ):
            assert seen in terminal.text
        assert all(len(line) == columns for line in terminal.lines)


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_the_screen_does_not_show_what_is_to_be_read_off_the_label(day: Path, columns: int, rows: int) -> None:
    with at_work(day, columns, rows) as terminal:
        for typed in ("", "/items\r", "/stations\r", f"/find {CONFIRMED}\r", "1\r", "write\r"):
            terminal.type(typed)
            terminal.read(0.3)
            assert f"{CONFIRMED[:-4]}····" in terminal.text
            assert CONFIRMED not in terminal.text


def test_what_was_typed_stays_when_the_window_changes_its_size(day: Path) -> None:
    with at_work(day) as terminal:
        terminal.type("0074")
        for columns, rows in ((120, 40), (200, 60), (60, 16), (80, 24)):
            terminal.resize(columns, rows)
            terminal.wait_for(lambda: terminal.input_line == " > 0074")
            assert "Scan or type a code" in terminal.text


def test_colours_are_there_where_nobody_minds(day: Path) -> None:
    with at_work(day, more_items=1) as coloured:
        assert COLOURS.search(coloured.raw)


def test_no_color_gives_no_colours_and_words_still_tell(day: Path) -> None:
    with at_work(day, more_items=1, NO_COLOR="1") as plain:
        assert COLOURS.search(plain.raw) is None
        assert "SAFETY" in plain.text
        assert "SIMULATED" in plain.text


def test_what_a_unit_says_cannot_steer_the_terminal(day: Path) -> None:
    with at_work(day) as terminal:
        assert b"owned\x07" not in terminal.raw
        assert r"\x1b[2J" in terminal.text


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_no_item_is_hidden(day: Path, columns: int, rows: int) -> None:
    with at_work(day, columns, rows, more_items=30) as terminal:
        listed = len(re.findall(r"(?:Look at shelf|Write) ", terminal.text.split("Item ")[0]))
        hidden = sum(map(int, re.findall(r"(\d+) (?:above|below)", terminal.text)))
        rows_listed = sum(bool(re.search(r"[▸ ][! ] *\d+ (?:-|S\d) ", line)) for line in terminal.lines)
        assert "For hands: 31" in terminal.text
        assert max(listed, rows_listed) + hidden >= 31
        assert rows_listed + hidden == 31
        terminal.type("/items\r")
        terminal.wait_for("All 31 items for hands")
        seen: set[str] = set()
        for _ in range(12):
            terminal.read(0.1)
            seen |= set(re.findall(r"Look at shelf (\d+)", terminal.text))
            terminal.type("\x1b[6~")
        assert seen == {str(n) for n in range(30)}


def test_safety_comes_first(day: Path) -> None:
    with at_work(day, more_items=3) as terminal:
        first = next(line for line in terminal.lines if re.search(r"▸", line))
        assert "SAFETY" in first
        assert "!" in first


def test_a_scan_of_another_unit_moves_there_and_never_answers_a_confirmation(day: Path) -> None:
    with at_work(day) as terminal:
        terminal.type("1\r")
        terminal.wait_for("write or not now")
        terminal.type("1\r")
        terminal.wait_for("the last four characters")
        terminal.type(f"{EXPECTED}\r")
        terminal.wait_for("is it here")
        assert f"Check in unit {EXPECTED}" in terminal.text
        assert "Item 1 is answered" not in terminal.text
        terminal.type("\x1b")
        terminal.wait_for("Scan or type a code")
        terminal.type("1\r")
        terminal.wait_for("write or not now")


def test_a_confirmation_read_off_the_label_is_taken(day: Path) -> None:
    with at_work(day) as terminal:
        terminal.type("1\r")
        terminal.wait_for("write or not now")
        terminal.type("write\r")
        terminal.wait_for("the last four characters")
        terminal.type("9999\r")
        terminal.wait_for("read it off the unit itself")
        terminal.type(f"{CONFIRMED[-4:]}\r")
        terminal.wait_for("Item 1 is answered")


def test_ctrl_c_says_what_stopping_means(day: Path) -> None:
    with at_work(day) as terminal:
        terminal.type("\x03")
        terminal.wait_for("No new step begins (stop 1).")
        terminal.type("/stop\r")
        terminal.wait_for("(stop 2)")


def test_a_terminal_that_is_gone_ends_the_face_in_order(day: Path) -> None:
    with at_work(day) as terminal:
        assert terminal.hang_up() == 0


def test_a_paste_is_typed_and_not_entered(day: Path) -> None:
    with at_work(day) as terminal:
        terminal.type(f"\x1b[200~{EXPECTED}\n1\n\x1b[201~")
        terminal.wait_for(lambda: EXPECTED in terminal.input_line)
        assert "Scan or type a code" in terminal.text


def test_plain_lines_where_the_terminal_can_do_no_more(day: Path) -> None:
    arguments = ["-m", "tests.cli.small_day", str(day), "1"]
    with Terminal(arguments, 80, 24, {"PYTHONPATH": str(ROOT), "TERM": "dumb"}) as terminal:
        terminal.wait_for("SIMULATED")
        terminal.wait_for("SAFETY item 2: Look at shelf 0")
        for typed, seen in (
            ("2", "how many packs"),
            ("41", "expected 0 to 40"),
            ("4", "1 large"),
            ("small", "anything"),
        ):
            terminal.type(f"{typed}\r")
            terminal.wait_for(seen)
        terminal.type("\r")
        terminal.wait_for("Item 2 is answered.")
        assert b"\x1b" not in terminal.raw
        terminal.interrupt()
        terminal.wait_for("No new step begins (stop 1).")


def test_a_record_that_another_program_has_locked_is_told(day: Path) -> None:
    """The bench waits for it; what a person has typed is taken once it goes on."""
    with at_work(day, 200, 60) as terminal:
        with closing(sqlite3.connect(day / "record" / "journal.db", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            terminal.type("1\r")
            terminal.wait_for("The record has not taken an entry for")
            assert "locked" in terminal.text
            other.execute("ROLLBACK")
        terminal.wait_for(lambda: "has not taken an entry" not in terminal.text)
