"""What is not begun before closing, and what is done about too little charge."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchday.bench.steps.confirm import MOST_CHECKS
from benchday.domain.steps import State
from tests.bench.shop import MINUTE_US, Shop

pytestmark = pytest.mark.asyncio
UNIT, OTHER = "007421530018", "007421530508"


def no_pack_no_outlet(shop: Shop, **changes: bool) -> None:
    """Let Millraces take neither a shop pack nor external power."""
    books = []
    for book in shop.plan.playbooks:
        power = book.power.model_copy(update={"pack_swap": False, "external": False} | changes)
        books.append(book.model_copy(update={"power": power}) if "Millrace" in book.models else book)
    shop.plan = replace(shop.plan, playbooks=tuple(books))


async def test_a_unit_that_comes_too_late_is_sent_off_for_today(shop: Shop) -> None:
    shop.only(UNIT, arrives="16:40")
    day = await shop.whole_day()
    story = day.unit(UNIT)
    assert (story.state, story.outcome, story.station, story.places) == (State.WAITING, "not-begun", None, {})
    assert "until closing" in (story.not_today or "")
    assert "do not begin the write today" in (story.not_today or "")
    assert [f["why"] for f in shop.facts("unit_sent_off", UNIT)] == [story.not_today]
    assert shop.units[UNIT].reaches == []
    assert shop.entries("permit_given") == []
    assert day.why == "finished"


async def test_the_text_tells_whoever_takes_it_off_its_station_why(shop: Shop) -> None:
    shop.only(UNIT, arrives="16:40")
    shop.people.answers["send off"] = None
    async with shop.running() as day, day.time_passing():
        asked = await day.item("send off", UNIT)
        assert "until closing" in asked.item.text


async def test_a_unit_that_is_low_and_late_is_sent_off_and_not_held(shop: Shop) -> None:
    shop.only(UNIT, arrives="16:40")
    shop.units[UNIT].charge_percent = 14
    day = await shop.whole_day()
    assert (day.unit(UNIT).state, day.unit(UNIT).outcome) == (State.WAITING, "not-begun")
    assert shop.entries("remedied") == []


async def test_a_unit_with_nothing_to_write_may_come_late(shop: Shop) -> None:
    shop.only(UNIT, arrives="16:40")
    shop.units[UNIT].release = "2.10"
    day = await shop.whole_day()
    assert day.unit(UNIT).state is State.HANDED_BACK


async def test_a_confirmation_that_comes_too_late_begins_no_write(shop: Shop) -> None:
    """What was checked before lunch does not hold an hour before closing."""
    shop.only(UNIT)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        shop.clock.advance(shop.plan.at_us("16:40") - shop.clock.now())
        label = {"answer": "write", "label": UNIT[-4:]}
        await day.answer("confirm", UNIT, **label)
        await day.until_state(UNIT, State.WAITING)
        assert "until closing" in (day.unit(UNIT).not_today or "")
    assert shop.units[UNIT].reaches == []
    assert shop.entries("act_spent") == []


async def test_a_unit_that_was_looked_at_often_and_is_late_is_sent_off_and_not_held(shop: Shop) -> None:
    """A day that was taken up again and again has checked it many times; that is no fault of the unit."""
    shop.only(UNIT)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        day.unit(UNIT).tries["check"] = MOST_CHECKS
        shop.clock.advance(shop.plan.at_us("16:40") - shop.clock.now())
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until_state(UNIT, State.WAITING, State.HELD)
        assert "until closing" in (day.unit(UNIT).not_today or "")
    assert shop.entries("unit_held") == []


async def test_a_confirmation_that_took_long_is_looked_at_anew(shop: Shop) -> None:
    """The battery was read an hour ago: it is read again before anything is written."""
    shop.only(UNIT)
    no_pack_no_outlet(shop)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        shop.clock.advance(90 * MINUTE_US)
        shop.units[UNIT].charge_percent = 20
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until_state(UNIT, State.WAITING, State.CHARGING)
    assert shop.units[UNIT].reaches == []


async def test_first_a_charged_shop_pack(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].charge_percent = 14
    day = await shop.whole_day()
    remedied = shop.facts("remedied", UNIT)
    assert [f["pack"] for f in remedied] == ["P1"]
    assert day.state.packs_used == {"P1"}
    assert day.unit(UNIT).writes == ["2.10"]
    before = [f["charge_percent"] for f in shop.facts("power_read", UNIT)]
    assert before[0] == 14
    assert min(before[1:]) == 95


async def test_a_pack_is_used_once_then_comes_external_power(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.bench(packs=1)
    for unit in (UNIT, OTHER):
        shop.units[unit].charge_percent = 14
    day = await shop.whole_day()
    assert [f["pack"] for f in shop.facts("remedied")] == ["P1", None]
    assert [f["remedy"] for f in shop.facts("remedied", OTHER)] == ["external power"]
    assert [day.unit(u).writes for u in (UNIT, OTHER)] == [["2.10"], ["2.10"]]


async def test_then_a_charger_and_back_into_the_line(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.bench(stations=1)
    no_pack_no_outlet(shop)
    shop.units[UNIT].charge_percent = 20
    day = await shop.whole_day()
    stations = [e.unit for e in shop.entries("place_granted") if e.facts["pool"] == "station"]
    assert stations == [UNIT, OTHER, UNIT], "while it charges its station serves the next"
    freed = [e.facts["pool"] for e in shop.entries("place_freed", UNIT)]
    assert freed[:3] == ["station", "cable:round", "charger"]
    charged = shop.entries("charge_begun", UNIT)[0], shop.entries("charge_ended", UNIT)[0]
    assert charged[0].facts["ends_us"] <= charged[1].at_us
    identified = [e.seq for e in shop.entries("unit_identified", UNIT)]
    assert identified[0] < charged[0].seq < charged[1].seq < identified[1], "identified anew"
    assert day.unit(UNIT).writes == ["2.10"]


async def test_a_unit_that_is_plainly_low_is_charged_before_it_takes_a_station(shop: Shop) -> None:
    shop.only(UNIT)
    no_pack_no_outlet(shop)
    shop.units[UNIT].charge_percent = 12
    shop.people.answers["check in"] = {
        "here": "arrived", "consent_release": True, "consent_erase": True, "consent_copy": True, "charge_percent": 12,
    }  # fmt: skip
    day = await shop.whole_day()
    pools = [e.facts["pool"] for e in shop.entries("place_granted", UNIT)]
    assert pools == ["charger", "station", "cable:round"]
    assert day.unit(UNIT).writes == ["2.10"]


async def test_where_nothing_helps_the_unit_is_held(shop: Shop) -> None:
    shop.only(UNIT)
    shop.bench(chargers=0)
    no_pack_no_outlet(shop)
    shop.units[UNIT].charge_percent = 20
    day = await shop.whole_day()
    assert (day.unit(UNIT).state, day.unit(UNIT).held_code) == (State.HELD, "power")
    assert "20 %" in (day.unit(UNIT).held_reason or "")
    assert shop.units[UNIT].reaches == []


async def test_two_units_share_one_charger_in_turn(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.bench(chargers=1)
    shop.policy(first_off=False)
    no_pack_no_outlet(shop)
    for unit in (UNIT, OTHER):
        shop.units[unit].charge_percent = 20
    day = await shop.whole_day()
    begun, ended = shop.entries("charge_begun"), shop.entries("charge_ended")
    assert [e.unit for e in begun] == [e.unit for e in ended] == [UNIT, OTHER]
    assert ended[0].seq < begun[1].seq
    assert [day.unit(u).writes for u in (UNIT, OTHER)] == [["2.10"], ["2.10"]]
