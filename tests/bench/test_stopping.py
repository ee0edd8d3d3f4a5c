"""A day that is stopped, once, twice, three times, and taken up again."""

from __future__ import annotations

from typing import Any

import anyio
import pytest

from benchday.domain.errors import TransferCut
from benchday.domain.steps import State
from tests.bench.people import People
from tests.bench.shop import Shop

pytestmark = pytest.mark.asyncio
UNIT, OTHER = "007421530018", "WS-41-00342"
CUT = TransferCut("the line vanished", 200)


async def test_with_nothing_being_written_it_ends_at_once(shop: Shop) -> None:
    shop.only(UNIT)
    shop.people.answers["connect"] = None
    async with shop.running() as day:
        await day.item("connect", UNIT)
        assert day.desk.stop() == "No new step begins; the day can be taken up again at any time."
        await day.ended.wait()
        assert day.why == "stopped"
    assert shop.facts("program_stopped") == [{"why": "stopped"}]
    shop.people.answers.pop("connect")
    day = await shop.whole_day()
    assert (day.why, day.unit(UNIT).state) == ("finished", State.HANDED_BACK)


async def test_a_running_write_is_let_finish_and_no_other_is_begun(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.people.answers[f"confirm {OTHER}"] = None
    async with shop.running() as day:
        await day.begun_writing(UNIT)
        await day.item("confirm", OTHER)
        told = day.desk.stop()
        assert told == f"No new step begins. Still being written, let finish: {UNIT}."
        await day.settled()
        assert not day.ended.is_set()
        day.go_on_writing(UNIT)
        await day.ended.wait()
    assert [f["outcome"] for f in shop.facts("act_ended")] == ["whole"]
    assert [what for what, _ in shop.units[UNIT].reaches] == ["write", "restart"]
    assert shop.entries("unit_held") == []
    assert shop.entries("line_stopped") == []
    assert shop.units[OTHER].reaches == []
    assert {u.opened for u in shop.units.values()} == {0}
    shop.people.answers.pop(f"confirm {OTHER}")
    day = await shop.whole_day()
    assert [what for what, _ in shop.units[UNIT].reaches] == ["write", "restart"], "written once"
    assert {day.unit(u).state for u in (UNIT, OTHER)} == {State.HANDED_BACK}


async def test_the_second_names_what_would_be_left_half_written(shop: Shop) -> None:
    shop.only(UNIT)
    async with shop.running() as day:
        await day.begun_writing(UNIT)
        day.desk.stop()
        told = day.desk.stop()
        assert told == (
            f"STILL BEING WRITTEN, would be left half written: {UNIT}. Once more within 10 s ends all the same."
        )
        await day.settled()
        assert not day.ended.is_set()
        day.go_on_writing(UNIT)
        await day.ended.wait()
    assert [f["outcome"] for f in shop.facts("act_ended")] == ["whole"]


async def test_a_third_after_ten_seconds_only_warns_again(shop: Shop) -> None:
    shop.only(UNIT)
    async with shop.running() as day:
        await day.begun_writing(UNIT)
        day.desk.stop()
        day.desk.stop()
        shop.clock.advance(10_000_001)
        assert day.desk.stop().startswith("STILL BEING WRITTEN")
        await day.settled()
        assert not day.ended.is_set()
        shop.clock.advance(9_000_000)
        assert day.desk.stop() == "Ended; what was being written is interrupted."
        await day.ended.wait()


async def test_the_third_within_ten_seconds_ends_and_the_unit_is_interrupted(shop: Shop) -> None:
    shop.only(UNIT)
    async with shop.running() as day:
        await day.begun_writing(UNIT)
        for _ in range(3):
            told = day.desk.stop()
        assert told == "Ended; what was being written is interrupted."
        await day.ended.wait()
        story = day.unit(UNIT)
        assert (story.state, story.held_code, story.station) == (State.HELD, "interrupted", "S1")
    assert shop.units[UNIT].opened == 0
    shop.units[UNIT].half_way = None
    day = await shop.whole_day()
    assert [f["found"] for f in shop.facts("interrupt_settled")] == ["broken"]
    permits = [permit for what, permit in shop.units[UNIT].reaches if what == "write"]
    assert len(set(permits)) == 2
    assert day.unit(UNIT).state is State.HANDED_BACK


async def test_a_write_that_is_cut_while_the_day_stops_waits_for_nobody(shop: Shop) -> None:
    """Whoever asked it to stop may be gone; the decision is asked for when the day is taken up again."""
    shop.only(UNIT)
    shop.people.answers |= {"interrupted": None, "set aside": None}
    shop.units[UNIT].befalls["write"] = [CUT]
    async with shop.running() as day:
        await day.begun_writing(UNIT)
        day.desk.stop()
        day.go_on_writing(UNIT)
        await day.ended.wait()
        assert day.unit(UNIT).held_code == "interrupted"
        assert day.unit(UNIT).station == "S1"
    async with shop.running() as day:
        await day.settled()
        assert len(day.items("interrupted", UNIT)) == 1


class Leaves:
    """A face that ends by itself: nobody is left to ask."""

    def __init__(self, shop: Shop) -> None:
        self._shop, self.leave = shop, anyio.Event()

    async def serve(self, desk: Any) -> None:
        """Serve until told to leave."""
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(self._shop.people.serve, desk)
            await self.leave.wait()
            tasks.cancel_scope.cancel()


@pytest.mark.parametrize("befalls", [None, CUT])
async def test_a_face_that_ends_while_a_unit_is_written(shop: Shop, befalls: Exception | None) -> None:
    shop.only(UNIT)
    face = Leaves(shop)
    shop.units[UNIT].befalls["write"] = [befalls]
    async with shop.running(face) as day:
        await day.begun_writing(UNIT)
        face.leave.set()
        await day.settled()
        assert not day.ended.is_set()
        day.go_on_writing(UNIT)
        await day.ended.wait()
        assert day.why == "nobody"
    assert [f["outcome"] for f in shop.facts("act_ended")] == ["cut" if befalls else "whole"]


ON_THE_WAY = (
    "check in", "connect", "plug", "fit pack", "findings", "recording A.rnx", "confirm", "last look", "hand back",
)  # fmt: skip


@pytest.mark.parametrize("stopped", [True, False])
@pytest.mark.parametrize("topic", ON_THE_WAY)
async def test_taken_up_from_wherever_it_was_left(shop: Shop, topic: str, stopped: bool) -> None:
    """In order or by a kill: the day goes on, nothing is written twice, no item is asked twice."""
    shop.only(UNIT, support_until=None)
    unit = shop.units[UNIT]
    unit.charge_percent, unit.recordings = 14, {"A.rnx": b"a" * 50}
    unit.befalls["fetch"] = [TransferCut("garbled", 10)] * 3
    shop.people.answers |= {topic: None, "recording": {"answer": "let go", "owner": "Maren", "how": "in person"}}
    async with shop.running() as day:
        await day.item(topic, UNIT)
        if stopped:
            day.desk.stop()
            await day.ended.wait()
    shop.people.answers.pop(topic)
    usual = People({}).answers
    if topic in usual:
        shop.people.answers[topic] = usual[topic]
    day = await shop.whole_day()
    assert (day.why, day.unit(UNIT).state, day.unit(UNIT).writes) == ("finished", State.HANDED_BACK, ["2.10"])
    assert [what for what, _ in unit.reaches] == ["write", "restart"]
    asked = [f["item"]["id"] for f in shop.facts("item_asked") if f["item"]["topic"] == topic]
    if topic not in ("confirm", "last look", "connect", "plug", "findings"):
        assert len(asked) == 1
    places = [(e.kind, e.facts["pool"]) for e in shop.journal.read() if e.kind in ("place_granted", "place_freed")]
    assert len([p for p in places if p[0] == "place_granted"]) == len([p for p in places if p[0] == "place_freed"]) == 2


@pytest.mark.parametrize("topic", ["charge", "charged", "send off"])
async def test_taken_up_while_a_unit_is_to_be_charged(shop: Shop, topic: str) -> None:
    shop.only(UNIT)
    books = tuple(
        b.model_copy(update={"power": b.power.model_copy(update={"pack_swap": False, "external": False})})
        for b in shop.plan.playbooks
    )
    shop.plan = shop.with_playbooks(books)
    shop.units[UNIT].charge_percent = 20
    shop.people.answers[topic] = None
    async with shop.running() as day, day.time_passing():
        await day.item(topic, UNIT)
    shop.people.answers[topic] = {"charge_percent": 95} if topic == "charged" else {}
    day = await shop.whole_day()
    assert (day.unit(UNIT).state, day.unit(UNIT).writes) == (State.HANDED_BACK, ["2.10"])
    for kind in ("charge_begun", "charge_ended", "unit_sent_off"):
        assert len(shop.entries(kind)) == 1, kind


async def test_taken_up_while_a_held_unit_is_to_be_set_aside(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].serial = "007421530019"
    shop.people.answers["set aside"] = None
    async with shop.running() as day:
        await day.item("set aside", UNIT)
    shop.people.answers.pop("set aside")
    day = await shop.whole_day()
    assert (day.unit(UNIT).state, day.unit(UNIT).station) == (State.HELD, None)
    assert len(shop.entries("unit_held")) == 1
    assert len([f for f in shop.facts("item_asked") if f["item"]["topic"] == "set aside"]) == 1


async def test_killed_half_way_through_a_write(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    async with shop.running() as day:
        await day.begun_writing(UNIT)
    assert shop.entries("act_ended", UNIT) == []
    shop.units[UNIT].half_way = None
    shop.people.answers |= {"interrupted": None, "line": None}
    async with shop.running() as day:
        asked = await day.item("interrupted", UNIT)
        assert "the program ended while the unit was being written" in asked.item.text
        await day.settled()
        assert day.unit(UNIT).places == {"station": "S1", "cable:round": "R1"}
        assert ("Millrace", "2.10") in day.state.lines_stopped
        await day.answer("line Millrace 2.10", answer="lift", reason="the PC lost power")
        await day.answer("interrupted", UNIT, answer="identify anew")
        await day.until_state(UNIT, State.READY, State.HANDED_BACK)
    assert len({permit for what, permit in shop.units[UNIT].reaches if what == "write"}) == 2


async def test_killed_after_the_restart_it_is_read_back_and_not_written_again(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].befalls["self_test"] = [TransferCut("stop here", 0)]
    shop.people.answers["last look"] = None
    async with shop.running() as day:
        await day.until_state(UNIT, State.VERIFY)
    shop.people.answers.pop("last look")
    day = await shop.whole_day()
    assert [what for what, _ in shop.units[UNIT].reaches] == ["write", "restart"]
    assert (day.unit(UNIT).writes, day.unit(UNIT).permits) == (["2.10"], 1)
    assert ("Millrace", "2.10") in day.state.verified
