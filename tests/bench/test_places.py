"""Who is granted what, and when: the dispatch policy on the live bench."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchday.domain.steps import State
from tests.bench.shop import MINUTE_US, Shop

pytestmark = pytest.mark.asyncio
FIRST, SECOND, THIRD = "007421530018", "007421530508", "007421540018"
BASE, OTHER_BASE = "WS-41-00342", "WS-41-00358"


def granted(shop: Shop, pool: str) -> list[str]:
    """Return the units in the order in which they got a place of a pool."""
    return [e.unit or "" for e in shop.entries("place_granted") if e.facts["pool"] == pool]


def seq(shop: Shop, kind: str, unit: str, **facts: str) -> int:
    """Return the number of the first such entry of a unit."""
    return next(e.seq for e in shop.entries(kind, unit) if facts.items() <= e.facts.items())


async def test_of_those_who_ask_at_the_same_time_the_first_in_the_list_is_served_first(shop: Shop) -> None:
    shop.only(SECOND, FIRST, THIRD)
    shop.bench(stations=1)
    await shop.whole_day()
    assert granted(shop, "station") == [SECOND, FIRST, THIRD]


async def test_whoever_asked_first_is_served_first(shop: Shop) -> None:
    shop.only(FIRST, SECOND, THIRD)
    rows = tuple(replace(r, arrives=a) for r, a in zip(shop.plan.roster, ("08:20", "08:00", "08:10"), strict=True))
    shop.plan = replace(shop.plan, roster=rows)
    shop.bench(stations=1)
    shop.people.answers["last look"] = None
    async with shop.running() as day:
        await day.item("last look", SECOND)
        shop.clock.advance(30 * MINUTE_US)
        await day.until(lambda: all(day.unit(u).state is State.WAITING for u in (FIRST, THIRD)))
        shop.people.answers.pop("last look")
        await day.answer("last look", SECOND)
        await day.until_state(FIRST, State.READY, State.HANDED_BACK)
        await day.until_state(THIRD, State.READY, State.HANDED_BACK)
    assert granted(shop, "station")[0] == SECOND
    arrived = [e.unit for e in shop.entries("unit_arrived")]
    assert granted(shop, "station")[1:] == arrived[1:]


async def test_a_cable_serves_one_unit_from_its_grant_to_the_end_of_verify(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    shop.policy(first_off=False)
    shop.bench(cables=tuple(c for c in shop.plan.bench.cables if c.number == "R2"))
    shop.people.answers["last look"] = None
    async with shop.running() as day:
        await day.until(lambda: len(day.items("last look")) == 2)
        assert granted(shop, "station") == [FIRST, SECOND]
        assert granted(shop, "cable:round") == [FIRST, SECOND]
        freed = seq(shop, "place_freed", FIRST, pool="cable:round")
        assert seq(shop, "unit_verified", FIRST) < freed < seq(shop, "place_granted", SECOND, pool="cable:round")
        assert {day.unit(u).station for u in (FIRST, SECOND)} == {"S1", "S2"}


async def test_a_unit_that_waits_for_its_cable_keeps_its_station(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    shop.policy(first_off=False)
    shop.bench(cables=tuple(c for c in shop.plan.bench.cables if c.number == "R1"))
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", FIRST)
        await day.settled()
        assert day.unit(SECOND).state is State.CONNECT
        assert day.unit(SECOND).places == {"station": "S2"}


async def test_the_first_of_its_kind_is_verified_before_a_second_is_begun(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    async with shop.running() as day:
        await day.begun_writing(FIRST)
        assert day.unit(SECOND).state is State.WAITING
        assert day.desk.waiting_reasons()[SECOND] == f"{FIRST} is the first Millrace on 2.10 and not verified yet"
        day.go_on_writing(FIRST)
        await day.until_state(SECOND, State.READY, State.HANDED_BACK)
    assert seq(shop, "unit_verified", FIRST) < seq(shop, "place_granted", SECOND, pool="station")


async def test_of_two_that_wait_to_be_confirmed_only_the_first_is_asked_for(shop: Shop) -> None:
    """Both were on their stations when the policy was changed; only one may begin."""
    shop.only(FIRST, SECOND)
    shop.policy(first_off=False)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.until(lambda: len(day.items("confirm")) == 2)
    shop.policy(first_off=True)
    async with shop.running() as day:
        day.tools.take_over(shop.plan)
        await day.until(lambda: all(day.unit(u).state is State.CONFIRM for u in (FIRST, SECOND)))
        await day.settled()
        assert [i.item.unit for i in day.items("confirm")] == [FIRST]
        await day.answer("confirm", FIRST, answer="write", label=FIRST[-4:])
        await day.begun_writing(FIRST)
        assert day.items("confirm") == []
        day.go_on_writing(FIRST)
        await day.item("confirm", SECOND)
        assert day.unit(FIRST).writes == ["2.10"]


async def test_without_first_off_both_are_begun(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    shop.policy(first_off=False)
    async with shop.running() as day:
        await day.begun_writing(FIRST, SECOND)
        assert day.desk.waiting_reasons() == {}


async def test_another_model_need_not_wait_for_the_first_of_its_kind(shop: Shop) -> None:
    shop.only(FIRST, BASE)
    async with shop.running() as day:
        await day.begun_writing(FIRST, BASE)


async def test_a_unit_that_needs_no_write_waits_for_no_first(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    shop.units[SECOND].release = "2.10"
    async with shop.running() as day:
        await day.begun_writing(FIRST)
        # Only at its station does anybody learn that it is on 2.10 already; until then the gate holds it.
        assert day.unit(SECOND).state is State.WAITING
        day.go_on_writing(FIRST)
        await day.until_state(SECOND, State.READY, State.HANDED_BACK)
    assert shop.units[SECOND].reaches == []


async def test_when_the_first_is_held_the_next_becomes_the_first(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    shop.units[FIRST].serial = "007421539999"
    day = await shop.whole_day()
    assert day.unit(FIRST).state is State.HELD
    assert day.unit(SECOND).writes == ["2.10"]


async def test_units_that_arrive_later_wait_for_nobody_who_is_not_here(shop: Shop) -> None:
    shop.only(BASE, OTHER_BASE)
    rows = (shop.plan.roster[0], replace(shop.plan.roster[1], arrives="11:00"))
    shop.plan = replace(shop.plan, roster=rows)
    day = await shop.whole_day()
    assert [day.unit(u).writes for u in (BASE, OTHER_BASE)] == [["2.10"], ["2.10"]]
    assert shop.entries("unit_arrived", OTHER_BASE)[0].at_us == shop.plan.at_us("11:00")
