"""Writes that are cut short: held, identified anew, and never repeated without a new permit."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from benchday.domain.errors import LinkGone, OutcomeUnknown, Refused, TransferCut
from benchday.domain.readings import Mode
from benchday.domain.steps import State
from tests.bench.fake_unit import SILENT, FakeUnit
from tests.bench.shop import Shop

pytestmark = pytest.mark.asyncio
UNIT, OTHER = "007421530018", "007421530508"
CUT = TransferCut("the line vanished while the image was sent", 200)


def starts_by_itself(unit: FakeUnit) -> Callable[..., dict[str, str]]:
    """Return somebody who sees that the unit has started what it was given, and has it identified anew."""

    def decided(*_: object) -> dict[str, str]:
        unit.start()
        return {"answer": "identify anew"}

    return decided


async def test_it_stays_where_it_is_until_a_person_decides(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.units[UNIT].befalls["write"] = [CUT]
    shop.people.answers |= {"interrupted": None, "line": None}
    async with shop.running() as day:
        asked = await day.item("interrupted", UNIT)
        assert asked.item.safety
        told = f"Do not press anything on unit {UNIT} on station S1, and leave it connected: the write was cut short: "
        assert asked.item.text.startswith(told)
        assert "If it does: DO NOT SWITCH OFF" in asked.item.text
        assert "If it is dark: connect external power" in asked.item.text
        assert day.desk.items()[0] is asked, "safety comes first"
        await day.settled()
        story = day.unit(UNIT)
        assert (story.state, story.held_code, story.station) == (State.HELD, "interrupted", "S1")
        assert story.places == {"station": "S1", "cable:round": "R1"}
        assert ("Millrace", "2.10") in day.state.lines_stopped
        assert day.desk.waiting_reasons() == {OTHER: "the line Millrace 2.10 is stopped"}
    assert [f["outcome"] for f in shop.facts("act_ended", UNIT)] == ["cut"]
    assert [what for what, _ in shop.units[UNIT].reaches] == ["write"]
    assert shop.units[OTHER].reaches == []


async def test_broken_it_is_written_under_a_new_permit(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].befalls["write"] = [CUT]
    day = await shop.whole_day()
    assert [f["found"] for f in shop.facts("interrupt_settled", UNIT)] == ["broken"]
    writes = [permit for what, permit in shop.units[UNIT].reaches if what == "write"]
    assert len(writes) == len(set(writes)) == 2
    assert (day.unit(UNIT).state, day.unit(UNIT).writes, day.unit(UNIT).permits) == (State.HANDED_BACK, ["2.10"], 2)


async def test_untouched_it_is_confirmed_anew(shop: Shop) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.befalls["before write"] = [CUT]
    day = await shop.whole_day()
    assert [f["found"] for f in shop.facts("interrupt_settled", UNIT)] == ["untouched"]
    assert day.unit(UNIT).permits == 2
    assert [what for what, _ in unit.reaches] == ["write", "restart"]


async def test_with_the_outcome_unknown_it_is_read_back_and_not_written_again(shop: Shop) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.befalls["after write"] = [OutcomeUnknown("the last acknowledgement is missing")]
    shop.people.answers["interrupted"] = starts_by_itself(unit)
    day = await shop.whole_day()
    assert [f["outcome"] for f in shop.facts("act_ended", UNIT)] == ["unknown"]
    assert [f["found"] for f in shop.facts("interrupt_settled", UNIT)] == ["written"]
    assert [what for what, _ in unit.reaches] == ["write"]
    assert (day.unit(UNIT).writes, day.unit(UNIT).permits) == (["2.10"], 1)


async def test_a_unit_that_does_not_come_back_from_its_restart(shop: Shop) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.befalls["restart"] = [LinkGone("the line vanished")]
    shop.people.answers["interrupted"] = starts_by_itself(unit)
    day = await shop.whole_day()
    assert [f["found"] for f in shop.facts("interrupt_settled", UNIT)] == ["written"]
    assert [what for what, _ in unit.reaches] == ["write"]
    assert day.unit(UNIT).writes == ["2.10"]


async def test_silent_after_a_cut_it_is_still_an_interrupted_one(shop: Shop) -> None:
    """It must not be carried off as one that merely does not answer."""
    shop.only(UNIT)
    shop.units[UNIT].befalls["write"] = [CUT]
    answers = iter([{"answer": "identify anew"}, None])
    shop.people.answers["interrupted"] = lambda *_: next(answers, None)
    shop.people.answers["line"] = None
    async with shop.running() as day:
        await day.item("interrupted", UNIT)
        shop.units[UNIT].befalls["open"] = [SILENT] * 3
        await day.until(lambda: len(shop.entries("unit_held", UNIT)) == 2)
        await day.settled()
        asked = day.items("interrupted", UNIT)
        assert len(asked) == 1
        assert "does not answer now" in asked[0].item.text
        assert "Is it seated at both ends?" in asked[0].item.text
        assert day.items("set aside") == []
        assert day.unit(UNIT).station == "S1"


async def test_left_held_it_is_set_aside_and_settled_when_it_comes_again(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.somebody_is_awaited(OTHER)
    shop.units[UNIT].befalls["write"] = [CUT]
    shop.people.answers["interrupted"] = {"answer": "leave held"}
    async with shop.running() as day:
        await day.until(lambda: day.unit(UNIT).station is None and day.unit(UNIT).state is State.HELD)
        assert day.unit(UNIT).held_code == "interrupted"
        await day.desk.lift(UNIT, "looked into", "Ines Halloran")
        await day.until_state(UNIT, State.HANDED_BACK)
    assert [f["found"] for f in shop.facts("interrupt_settled", UNIT)] == ["broken"]
    assert day.unit(UNIT).permits == 2


async def test_refused_before_the_first_byte_nothing_is_lost_and_the_act_is_used_up(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.somebody_is_awaited(OTHER)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": b"a" * 50}
    unit.befalls["before write"] = [Refused("image", "power", "too little charge")]
    async with shop.running() as day:
        await day.until(lambda: day.unit(UNIT).state is State.HELD and day.unit(UNIT).station is None)
        assert day.unit(UNIT).held_code == "refused"
        assert "too little charge" in (day.unit(UNIT).held_reason or "")
        assert unit.recordings
        assert day.state.lines_stopped == {}
        await day.desk.lift(UNIT, "charged", "Ines Halloran")
        await day.until_state(UNIT, State.HANDED_BACK)
    assert [f["outcome"] for f in shop.facts("act_ended", UNIT)] == ["refused", "whole"]
    acts = [(f["permit"], f["act"]) for f in shop.facts("act_spent", UNIT)]
    assert len(set(acts)) == 2


@pytest.mark.parametrize("method", ["power", "settings", "recordings", "identify", "fetch", "self_test"])
async def test_a_line_that_fails_where_it_is_safe_is_tried_again(shop: Shop, method: str) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": b"a" * 50, "B.rnx": b"b" * 70}
    unit.befalls[method] = [None, LinkGone("the cable came off")] if method == "fetch" else [LinkGone("came off")]
    day = await shop.whole_day()
    assert day.unit(UNIT).state is State.HANDED_BACK
    assert [what for what, _ in unit.reaches] == ["write", "restart"]
    assert sorted(shop.kept.files.values()) == [b"a" * 50, b"b" * 70]
    assert len(shop.facts("recording_preserved", UNIT)) == 2, "what was whole is not copied again"
    if method != "identify":
        assert len(shop.facts("unit_identified", UNIT)) >= 2, "identified anew"
    assert unit.opened == 0


async def test_a_line_that_keeps_failing_is_held(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].befalls["power"] = [LinkGone("the cable came off")] * 20
    day = await shop.whole_day()
    assert (day.unit(UNIT).state, day.unit(UNIT).held_code) == (State.HELD, "line")
    assert "the line keeps failing in check (the cable came off)" in (day.unit(UNIT).held_reason or "")


async def test_a_line_that_fails_right_before_the_act_is_spent_loses_nothing(shop: Shop) -> None:
    """The permit is not used up by silence, and nothing stops the line."""
    shop.only(UNIT)
    shop.units[UNIT].befalls["identify"] = [None, SILENT]
    async with shop.running() as day:
        await day.until(lambda: day.unit(UNIT).state is State.HELD)
        await day.settled()
        assert day.unit(UNIT).held_code == "line"
        assert day.state.lines_stopped == {}
    assert shop.units[UNIT].reaches == []
    assert shop.entries("act_spent") == []


async def test_a_swapped_unit_right_before_the_write_is_refused(shop: Shop) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]

    def swapped(*_: object) -> dict[str, str]:
        unit.serial = OTHER
        return {"answer": "write", "label": UNIT[-4:]}

    shop.people.answers["confirm"] = swapped
    async with shop.running() as day:
        await day.until(lambda: day.unit(UNIT).state is State.HELD)
        assert day.unit(UNIT).held_code == "refused"
        assert f"the serial is {OTHER}, the permit is for {UNIT}" in (day.unit(UNIT).held_reason or "")
    assert unit.reaches == []
    assert len(shop.entries("act_refused", UNIT)) == len(shop.entries("permit_voided", UNIT)) == 1


async def test_a_unit_without_a_release_in_its_boot_loader_is_written(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].mode = Mode.BOOT
    day = await shop.whole_day()
    assert day.unit(UNIT).writes == ["2.10"]
