"""The bench PC slept, or the program stood still: what is recorded, told, void and looked at again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from benchday.bench.pauses import SLEPT_US, STILL_US, Pauses
from benchday.domain.errors import LinkSilent, TransferCut
from benchday.domain.readings import Mode
from benchday.domain.steps import State
from tests.bench.fake_unit import SILENT
from tests.bench.people import read_off
from tests.bench.shop import OpenDay, Shop

pytestmark = pytest.mark.asyncio
UNIT = "007421530018"
HOUR_US = 3_600_000_000


def sleep(day: OpenDay, for_us: int = HOUR_US) -> None:
    """Let the bench PC sleep."""
    pc = day.tools.pc
    pc.slept_us += for_us  # type: ignore[attr-defined]  # the test's own bench PC
    day.shop.clock.advance(for_us)


async def test_a_sleep_and_a_standstill_are_told_apart() -> None:
    """Short ones are nothing; where the monotonic clock goes on in a sleep it is one pause and not two."""
    clock = {"asleep": 0, "mono": 0}
    pauses = Pauses(lambda: clock["asleep"], lambda: clock["mono"])
    pauses.begin()
    for asleep, mono, total in (
        (0, STILL_US - 1, 0),
        (SLEPT_US - 1, 0, 0),
        (HOUR_US, 0, HOUR_US),
        (HOUR_US, HOUR_US, 2 * HOUR_US),
        (0, STILL_US, 2 * HOUR_US + STILL_US),
    ):
        clock["asleep"] += asleep
        clock["mono"] += mono
        assert pauses.total_us() == total
    assert [(p.how, p.lasted_us) for p in pauses.untold] == [
        ("slept", HOUR_US),
        ("slept", HOUR_US),
        ("stood still", STILL_US),
    ]


async def test_where_nothing_tells_of_sleep_a_standstill_is_still_seen() -> None:
    clock = {"mono": 0}
    pauses = Pauses(lambda: None, lambda: clock["mono"])
    clock["mono"] += HOUR_US
    assert pauses.total_us() == 0, "nobody looked yet"
    pauses.begin()
    clock["mono"] += HOUR_US
    assert pauses.total_us() == HOUR_US


async def test_told_once_and_over_once_somebody_has_read_it(shop: Shop) -> None:
    shop.only(UNIT)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        sleep(day)
        await day.tools.pauses.record(day.tools)
        await day.until(lambda: not day.state.pauses)
    shop.people.answers["confirm"] = read_off
    await shop.whole_day()
    assert len(shop.facts("pc_slept")) == 1
    (item,) = _told(shop)
    assert "slept for 1 h" in item["text"]
    assert not item["safety"]


def _told(shop: Shop) -> list[Mapping[str, Any]]:
    items = [f["item"] for f in shop.facts("item_asked")]
    return [item for item in items if item["topic"].startswith("slept")]


async def test_a_permit_that_expired_in_the_sleep_is_void(shop: Shop) -> None:
    """It was confirmed, and the computer fell asleep before the act was spent."""
    shop.only(UNIT)
    shop.policy(permit_minutes=10)
    unit = shop.units[UNIT]
    async with shop.running() as day:
        pc = day.tools.pc

        def falls_asleep() -> None:
            if day.tools.open_permits():
                sleep(day)
            else:
                unit.happens["identify"] = falls_asleep

        unit.happens["identify"] = falls_asleep
        await day.until_state(UNIT, State.HELD)
        assert pc.asleep_us() == HOUR_US
        assert "expired" in (day.unit(UNIT).held_reason or "")
    assert unit.reaches == []
    assert shop.entries("act_spent") == []
    assert len(shop.entries("permit_voided")) == 1


async def test_permits_that_lie_are_voided_as_soon_as_the_sleep_is_noticed(shop: Shop) -> None:
    async with shop.opened() as tools:
        assert tools.open_permits() == ()
        await tools.desk.void_expired("it expired")
    assert shop.entries("permit_voided") == []


async def test_a_silence_in_the_sleep_sends_nobody_to_the_cable(shop: Shop) -> None:
    """Asked once more the unit answers."""
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.befalls["identify"] = [SILENT]
    async with shop.running() as day, day.time_passing():
        unit.happens["identify"] = lambda: sleep(day, 60_000_000)
        await day.ended.wait()
        assert day.unit(UNIT).state is State.HANDED_BACK
    assert [f for f in shop.facts("item_asked") if f["item"]["topic"] == "silence"] == []
    assert len(shop.facts("pc_slept")) == 1


async def test_a_silence_without_a_sleep_is_asked_about(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].befalls["identify"] = [SILENT]
    await shop.whole_day()
    assert len([f for f in shop.facts("item_asked") if f["item"]["topic"] == "silence"]) == 1


@pytest.mark.parametrize("comes_back", [True, False])
async def test_a_restart_whose_time_ran_out_in_the_sleep_is_looked_at_again(shop: Shop, comes_back: bool) -> None:
    """The unit runs: it is verified. It does not: it is held as interrupted, as ever."""
    shop.only(UNIT)
    shop.people.answers |= {"interrupted": None, "line": None}
    unit = shop.units[UNIT]
    unit.befalls["restart"] = [LinkSilent("it did not greet within 300 s")]
    async with shop.running() as day, day.time_passing():

        def asleep() -> None:
            sleep(day, 400_000_000)
            unit.mode = Mode.RUN if comes_back else Mode.BOOT
            unit.start()

        unit.happens["restart"] = asleep
        await day.until_state(UNIT, State.HANDED_BACK, State.HELD)
        story = day.unit(UNIT)
        assert story.state is (State.HANDED_BACK if comes_back else State.HELD)
        assert story.held_code == (None if comes_back else "interrupted")


async def test_a_write_cut_in_the_sleep_says_who_was_away(shop: Shop) -> None:
    shop.only(UNIT)
    shop.people.answers |= {"interrupted": None, "line": None}
    unit = shop.units[UNIT]
    unit.befalls["write"] = [TransferCut("the unit broke it off", 100)]
    async with shop.running() as day:
        await day.begun_writing(UNIT)
        sleep(day)
        day.go_on_writing(UNIT)
        await day.until_state(UNIT, State.HELD)
        await day.until(lambda: bool(_told(shop)))
        assert "the bench PC was away for 1 h" in (day.unit(UNIT).held_reason or "")
        (item,) = _told(shop)
        assert item["safety"]
        assert f"BEING WRITTEN THEN: {UNIT}." in item["text"]
