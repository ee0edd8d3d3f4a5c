"""The day's files edited while it runs: seen on the disk, offered as differences, taken over or not."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import anyio
import pytest

from benchday import wiring
from benchday.bench.desk import BenchDesk
from benchday.bench.editing import Edit, Look, watch_inputs
from benchday.domain.errors import InputError, PermitRefused, RecordHeld
from benchday.domain.fold import ItemState
from benchday.domain.plan import DayPlan
from benchday.domain.steps import State
from benchday.inputs.day import load_day
from benchday.record.journal import open_journal
from benchday.record.verifying import verify_chain
from benchday.testing.clock import ManualClock
from tests.bench.shop import INES, TOBIAS, Shop
from tests.bench.test_confirming import READING, permit_for

pytestmark = pytest.mark.asyncio
UNIT = "007421530018"
ROW = "007421539000,Millrace,Saltmere Levels Drainage Trust,Nils Aldous,Avocet,rover,08:00,,2027-04-30,\n"


class Face:
    """Somebody at the bench who answers only what the test answers."""

    def __init__(self) -> None:
        self.desk: BenchDesk | None = None
        self._came = anyio.Event()

    async def serve(self, desk: Any) -> None:
        """Look on."""
        self.desk = desk
        self._came.set()
        await anyio.sleep_forever()

    async def item(self, topic: str) -> ItemState:
        """Return the open item on a topic, waiting for it."""
        await self._came.wait()
        assert self.desk is not None
        while not (found := [i for i in self.desk.items() if i.item.topic == topic]):
            await self.desk.changed()
        return found[0]

    async def answer(self, topic: str, **value: Any) -> None:
        """Answer an item."""
        asked = await self.item(topic)
        assert self.desk is not None
        await self.desk.answer(asked.item.id, value, INES, "person")


@asynccontextmanager
async def live(day: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Face]:
    """Run the day of a folder as the program does, with its own watcher of the files, looking often."""
    monkeypatch.setattr(wiring, "LOOK_EVERY_S", 0.02)
    face = Face()
    with anyio.fail_after(20):
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(wiring.run_day, day, wiring.RunOptions(), face)
            yield face
            tasks.cancel_scope.cancel()


def edit(path: Path, old: str, new: str) -> None:
    """Change a file as an editor does: all at once."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    fresh = path.with_name(f".{path.name}.new")
    fresh.write_text(text.replace(old, new, 1), encoding="utf-8")
    fresh.replace(path)


async def test_a_unit_added_to_the_roster_is_offered_and_expected_once_accepted(
    day: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with live(day, monkeypatch) as face:
        await face.item("check in")
        with (day / "roster.csv").open("a", encoding="utf-8") as file:
            file.write(ROW)
        asked = await face.item("inputs")
        assert "unit 007421539000 (Millrace, Saltmere Levels Drainage Trust) was added" in asked.item.text
        assert "Aldous" not in asked.item.text
        assert face.desk is not None
        assert "007421539000" not in face.desk.state.units
        await face.answer("inputs", answer="accept")
        while "007421539000" not in face.desk.state.units:
            await face.desk.changed()
        assert face.desk.plan.row("007421539000") is not None
    bodies = b"".join(p.read_bytes() for p in (day / "record").glob("journal.db*"))
    assert b"Aldous" not in bodies
    assert verify_chain(day / "record").faults == ()


async def test_a_renewed_term_and_longer_hours_hold_once_accepted(day: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async with live(day, monkeypatch) as face:
        await face.item("check in")
        assert face.desk is not None
        before = face.desk.state.begun
        edit(day / "roster.csv", "2026-03-31", "2027-03-31")
        edit(day / "day.yaml", 'closes: "17:00"', 'closes: "18:30"')
        desk = face.desk

        def holds() -> bool:
            longer = (desk.state.begun or {})["closes_us"] != (before or {})["closes_us"]
            return longer and desk.state.units["WS-41-00297"].support_until == "2027-03-31"

        while not holds():
            # Two files saved one after the other may be offered one by one.
            if [i for i in desk.items() if i.item.topic == "inputs"]:
                await face.answer("inputs", answer="accept")
            else:
                await desk.changed()
        begun = desk.state.begun
        assert before is not None
        assert begun is not None
        assert begun["closes_us"] - before["closes_us"] == 90 * 60_000_000
        assert begun["date"] == before["date"]
        assert face.desk.state.units["WS-41-00297"].state is State.EXPECTED


async def test_refused_it_is_not_offered_again_until_something_else_changes(
    day: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with live(day, monkeypatch) as face:
        await face.item("check in")
        edit(day / "day.yaml", "permit_minutes: 10", "permit_minutes: 5")
        assert "permit_minutes" in (await face.item("inputs")).item.text
        await face.answer("inputs", answer="go on as before")
        await anyio.sleep(0.2)
        assert face.desk is not None
        assert not [i for i in face.desk.items() if i.item.topic == "inputs"]
        assert face.desk.plan.day.policy.permit_minutes == 10
        edit(day / "day.yaml", "permit_minutes: 5", "permit_minutes: 7")
        await face.answer("inputs", answer="accept")
        while face.desk.plan.day.policy.permit_minutes != 7:
            await face.desk.changed()


async def test_mistakes_are_told_with_their_place_and_the_day_goes_on(
    day: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with live(day, monkeypatch) as face:
        await face.item("check in")
        edit(day / "bench.yaml", "chargers:", "chargres:")
        asked = await face.item("inputs")
        assert "hold mistakes; the day goes on with what was read before" in asked.item.text
        assert "bench.yaml:" in asked.item.text
        assert "did you mean chargers?" in asked.item.text
        await face.answer("inputs")
        assert face.desk is not None
        assert face.desk.plan.bench.chargers
        edit(day / "bench.yaml", "chargres:", "chargers:")
        await anyio.sleep(0.2)
        assert not [i for i in face.desk.items() if i.item.topic == "inputs"], "as it was before"


async def test_an_edit_that_says_the_same_is_not_offered(day: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async with live(day, monkeypatch) as face:
        await face.item("check in")
        edit(day / "bench.yaml", "bench: saltmere-1", "bench: saltmere-1     # our only one")
        await anyio.sleep(0.2)
        assert face.desk is not None
        assert not [i for i in face.desk.items() if i.item.topic == "inputs"]


async def test_a_record_that_another_program_writes_is_left_alone(day: Path) -> None:
    """The message says who; nothing is changed by trying."""
    record = day / "record"
    holder = open_journal(record, "saltmere-1", ManualClock(), simulated=True)
    before = {p.name: p.read_bytes() for p in record.iterdir() if p.is_file() and not p.name.endswith("-shm")}
    try:
        with pytest.raises(RecordHeld, match=r"is being written by .+ \(process \d+ on .+\); end that program first"):
            await wiring.run_day(day, wiring.RunOptions(), Face())
        after = {p.name: p.read_bytes() for p in record.iterdir() if p.is_file() and not p.name.endswith("-shm")}
        assert after == before
    finally:
        await holder.close()
    async with wiring.opened(day, load_day(day), wiring.RunOptions()) as (tools, under_way):
        assert not under_way
        assert tools.book.state.units
    assert verify_chain(record).faults == ()


# What an accepted edit does to the running bench, in memory.


def once(plan: DayPlan, when: anyio.Event) -> Look:
    """Return a look that finds this plan once, when told."""
    found = [Edit(plan, ("a playbook was edited",))]

    async def look(_: DayPlan) -> Edit | None:
        await when.wait()
        if not found:
            await anyio.sleep_forever()
        return found.pop()

    return look


def edited(shop: Shop) -> DayPlan:
    """Return the plan with another digest for the playbook of the unit, and a limit changed in it."""
    books = tuple(
        b.model_copy(update={"title": "edited"}) if b.playbook == "millrace" else b for b in shop.plan.playbooks
    )
    return replace(shop.plan, playbooks=books, digests={**shop.plan.digests, "playbook:millrace": "ff" * 32})


async def test_an_accepted_edit_voids_permits(shop: Shop) -> None:
    shop.only(UNIT)
    when = anyio.Event()
    async with shop.opened() as tools:
        permit = await permit_for(tools)
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(watch_inputs, tools, once(edited(shop), when))
            tasks.start_soon(shop.people.serve, BenchDesk(tools, None, lambda: ""))  # type: ignore[arg-type]
            when.set()
            await tools.book.until(lambda: bool(shop.entries("permit_voided")))
            await anyio.wait_all_tasks_blocked()
            tasks.cancel_scope.cancel()
        with pytest.raises(PermitRefused, match="the day's files were edited"):
            await tools.desk.spend(permit, READING)
    assert shop.entries("act_spent") == []


async def test_an_open_confirmation_is_withdrawn_and_asked_anew_under_what_holds_now(shop: Shop) -> None:
    shop.only(UNIT)
    when = anyio.Event()
    shop.look = once(edited(shop), when)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        first = await day.item("confirm", UNIT)
        when.set()
        await day.until(lambda: not day.state.items[first.item.id].open)
        with pytest.raises(InputError, match="was withdrawn: the day's files were edited"):
            await day.desk.answer(first.item.id, {"answer": "write", "label": UNIT[-4:]}, INES, "person")
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until_state(UNIT, State.HANDED_BACK)
    (given,) = shop.facts("permit_given", UNIT)
    assert given["permit"]["playbook_digest"] == "ff" * 32
    assert shop.facts("input_changed") == [{"differences": ["a playbook was edited"], "accepted": True}]


async def test_refused_the_open_confirmation_stands(shop: Shop) -> None:
    shop.only(UNIT)
    when = anyio.Event()
    shop.look = once(edited(shop), when)
    shop.people.answers |= {"confirm": None, "inputs": {"answer": "go on as before"}}
    async with shop.running() as day:
        first = await day.item("confirm", UNIT)
        when.set()
        await day.until(lambda: bool(shop.entries("input_changed")))
        await day.settled()
        assert day.state.items[first.item.id].open
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until_state(UNIT, State.HANDED_BACK)
    assert shop.facts("input_changed")[0]["accepted"] is False


async def test_who_may_what_follows_an_accepted_edit(shop: Shop) -> None:
    shop.only(UNIT)
    when = anyio.Event()
    plan = shop.plan
    operators = tuple(
        o.model_copy(update={"may": plan.bench.operators[0].may}) if o.name == TOBIAS else o
        for o in plan.bench.operators
    )
    shop.look = once(replace(plan, bench=plan.bench.model_copy(update={"operators": operators})), when)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        with pytest.raises(InputError, match=f"{TOBIAS} may not confirm"):
            await day.answer("confirm", UNIT, who=TOBIAS, answer="write", label=UNIT[-4:])
        when.set()
        await day.until(lambda: bool(shop.entries("input_changed")))
        await day.settled()
        await day.answer("confirm", UNIT, who=TOBIAS, answer="write", label=UNIT[-4:])
        await day.until_state(UNIT, State.HANDED_BACK)
    assert shop.facts("permit_given")[0]["permit"]["operator"] == TOBIAS
