"""A day of many units in small: nothing is left behind, and neither memory nor work for an entry grows with the day."""

from __future__ import annotations

import cProfile
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from benchday.cli.terminal.conversation import Conversation
from benchday.cli.terminal.view import view_of
from benchday.domain.entries import GENESIS, Draft, Entry, Times
from benchday.domain.fold import MOST_OVER, DayState, fold
from benchday.domain.items import Item, ItemKind
from benchday.domain.kinds import ItemAnswered, ItemAsked
from benchday.inputs.day import load_day
from benchday.record.reading import open_reader
from tests.faults.long_day import Course, Size, long_day
from tests.faults.long_shop import long_plan

pytestmark = pytest.mark.asyncio
UNITS = 12


async def ran(folder: Path, size: Size) -> Course:
    """Run a day."""
    return await long_day(folder, size, lambda _: None)


async def test_a_day_leaves_nothing_behind_and_its_lookups_say_what_its_entries_say(tmp_path: Path) -> None:
    """Tasks, threads and files; and what the day finds quickly is what a look at everything finds."""
    course = await ran(tmp_path / "day", Size(UNITS, 4, 4))
    assert course.outcomes == {"handed-back": UNITS}
    assert course.left == {"tasks": 0, "threads": 0, "files": 0}
    assert len({w.files for w in course.weights}) == 1
    with open_reader(tmp_path / "day" / "record") as reader:
        entries = reader.read(reader.benches()[0])
    state = DayState()
    for entry in entries:
        state.apply(entry)
        assert list(state.open_items()) == [i for i in state.items.values() if i.open]
        places = {(pool, place): u.serial for u in state.units.values() for pool, place in u.places.items()}
        assert state.holders == places
    for crew in {u.crew for u in state.units.values()}:
        assert state.of_crew(crew) == [u for u in state.units.values() if u.crew == crew]


def _calls(work: Callable[[], Any]) -> int:
    """Count the calls that some work makes: however busy the computer is, they are the same."""
    profile = cProfile.Profile(builtins=False)
    profile.runcall(work)
    return sum(row.callcount for row in cast("Any", profile).getstats())


def _with_items(folder: Path, over: int) -> DayState:
    """Return a day on which so many items have been asked and answered, and twenty more are open."""
    plan = long_plan(folder, 60, 20, 24, 1)
    state = fold(())
    drafts: list[Draft] = []
    for number in range(over + 20):
        unit = plan.roster[number % 60].serial
        item = Item(str(number), ItemKind.INSTRUCT, f"topic {number}", "words " * 100, unit=unit)
        drafts.append(ItemAsked(item=item.as_facts()).draft(unit=unit))
        if number < over:
            drafts.append(ItemAnswered(id=str(number), value={}, by="person").draft(unit=unit, operator="Ines"))
    for seq, draft in enumerate(drafts, 1):
        state.apply(Entry.forge(draft, bench="b", seq=seq, times=Times(seq, seq, seq), prev=GENESIS))
    return state


async def test_ten_thousand_entries_make_no_look_at_the_day_dearer(tmp_path: Path) -> None:
    """The screen's work for a redraw follows from what is open now, not from what was."""
    plan = None
    calls = []
    for over in (MOST_OVER + 10, 5000):
        folder = tmp_path / str(over)
        state = _with_items(folder, over)
        plan = plan or load_day(folder)
        desk: Any = SimpleNamespace(
            state=state, plan=plan, ticks={}, outlook=None, now=lambda: 1, items=state.open_items,
            may=lambda *_: True, waiting_reasons=dict, record_waits_s=lambda: 0,
        )  # fmt: skip
        talk = Conversation(desk, "Ines Halloran", "person")
        talk.refresh()
        assert len(view_of(talk).queue) == 20
        calls.append(_calls(lambda talk=talk: view_of(talk)))  # type: ignore[misc]
        assert len(state.items) <= MOST_OVER + 20
    assert calls[1] <= calls[0] * 1.1
