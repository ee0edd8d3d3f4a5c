"""Check-in, walk-ins, absent units and whatever is scanned."""

from __future__ import annotations

from typing import Any

import pytest

from benchday.bench.desk import MOST_WALK_INS
from benchday.domain.errors import InputError
from benchday.domain.steps import State
from tests.bench.fake_unit import FakeUnit
from tests.bench.shop import INES, MINUTE_US, TOBIAS, Shop

pytestmark = pytest.mark.asyncio
UNIT, OTHER, STRANGER = "007421530018", "WS-41-00358", "007421540733"
CONSENT: dict[str, Any] = {"consent_release": True, "consent_erase": True, "consent_copy": True}


def a_stranger(shop: Shop) -> FakeUnit:
    """Let a unit be about that no roster expects."""
    releases = shop.units[UNIT].releases
    shop.units[STRANGER] = FakeUnit(STRANGER, "Millrace", releases)
    return shop.units[STRANGER]


async def test_a_walk_in_is_served_like_any_other(shop: Shop) -> None:
    shop.only(UNIT)
    shop.somebody_is_awaited(UNIT)
    a_stranger(shop)
    shop.people.answers["walk-in"] = None
    async with shop.running() as day:
        await day.settled()
        told = await day.desk.scan(STRANGER)
        assert told == f"{STRANGER} is on no roster: a walk-in? See the new item."
        await day.answer(
            f"walk-in {STRANGER}", accept="accept", model="Millrace", customer="Marrowby Sluice Company",
            support_until="2027-01-31", **CONSENT,
        )  # fmt: skip
        await day.until_state(STRANGER, State.HANDED_BACK)
        assert day.unit(STRANGER).walked_in
        assert day.unit(STRANGER).writes == ["2.10"]


async def test_a_scanner_gone_mad_opens_no_items_without_end(shop: Shop) -> None:
    """What is no serial is no walk-in, and no more are asked about at once than a room holds."""
    shop.only(UNIT)
    shop.somebody_is_awaited(UNIT)
    shop.people.answers["walk-in"] = None
    async with shop.running() as day:
        await day.settled()
        for code in ("ab", "\x1b[2J\x1b[2J", "a b c", "s" * 41, "\u202egnp", "-rf", "\ud800\ud800\ud800"):
            with pytest.raises(InputError, match="is no code of a unit"):
                await day.desk.scan(code)
        for number in range(MOST_WALK_INS):
            await day.desk.scan(f"WALK-{number:04d}")
        with pytest.raises(InputError, match="20 walk-ins are asked about already"):
            await day.desk.scan("WALK-9999")
        await day.desk.scan("WALK-0001")  # the same once more opens nothing
        await day.until(lambda: sum(i.item.topic.startswith("walk-in") for i in day.desk.items()) == MOST_WALK_INS)


async def test_a_walk_in_needs_a_model(shop: Shop) -> None:
    shop.only(UNIT)
    shop.somebody_is_awaited(UNIT)
    shop.people.answers["walk-in"] = None
    async with shop.running() as day:
        await day.settled()
        await day.desk.scan(STRANGER)
        topic = f"walk-in {STRANGER}"
        with pytest.raises(InputError, match="its model: a walk-in needs one"):
            await day.answer(topic, accept="accept", customer="Marrowby Sluice Company")
        with pytest.raises(InputError, match="expected one of"):
            await day.answer(topic, accept="accept", model="Windlass")
        assert STRANGER not in day.state.units
        await day.answer(topic, accept="mistake")
        await day.settled()
        assert STRANGER not in day.state.units
        assert not day.items(topic)


async def test_a_walk_in_that_is_scanned_again_is_asked_for_once(shop: Shop) -> None:
    shop.only(UNIT)
    shop.somebody_is_awaited(UNIT)
    shop.people.answers["walk-in"] = None
    async with shop.running() as day:
        await day.settled()
        for _ in range(3):
            await day.desk.scan(STRANGER)
            await day.settled()
        assert len(day.items(f"walk-in {STRANGER}")) == 1


async def test_a_walk_in_that_nobody_has_answered_survives_a_restart(shop: Shop) -> None:
    shop.only(UNIT)
    a_stranger(shop)
    shop.people.answers |= {"walk-in": None, f"check in {UNIT}": None}
    async with shop.running() as day:
        await day.settled()
        await day.desk.scan(STRANGER)
        await day.item(f"walk-in {STRANGER}")
    async with shop.running() as day:
        await day.settled()
        await day.answer(f"walk-in {STRANGER}", accept="accept", model="Millrace", customer="Marrowby", **CONSENT)
        await day.until_state(STRANGER, State.HANDED_BACK)
    assert len(shop.entries("unit_walked_in")) == 1


async def test_absent_and_later_arrived(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.somebody_is_awaited(OTHER)
    shop.people.answers[f"check in {UNIT}"] = None
    async with shop.running() as day:
        await day.answer("check in", UNIT, here="absent")
        await day.until_state(UNIT, State.ABSENT)
        assert day.unit(UNIT).outcome == "absent"
        await day.settled()
        assert day.items("check in", UNIT) == []
        shop.clock.advance(30 * MINUTE_US)
        told = await day.desk.scan(f"MR/{UNIT}/B")
        assert "is expected: check it in" in told
        await day.answer("check in", UNIT, here="arrived", **CONSENT)
        await day.until_state(UNIT, State.HANDED_BACK)
        assert day.unit(UNIT).writes == ["2.10"]
        assert day.unit(UNIT).held_reason is None, "why it was absent is no reason any more"


async def test_absent_twice_is_told_once(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.somebody_is_awaited(OTHER)
    shop.people.answers[f"check in {UNIT}"] = {"here": "absent"}
    async with shop.running() as day:
        await day.until_state(UNIT, State.ABSENT)
        await day.desk.scan(UNIT)
        await day.settled()
        assert len(shop.entries("unit_absent", UNIT)) == 1


async def test_a_unit_before_its_time_is_checked_in_when_scanned(shop: Shop) -> None:
    shop.only(UNIT, arrives="11:00")
    async with shop.running() as day:
        await day.settled()
        assert day.items("check in") == []
        await day.desk.scan(UNIT)
        await day.until_state(UNIT, State.HANDED_BACK)
        assert shop.clock.now() == shop.plan.at_us("08:00")


async def test_the_same_unit_checked_in_twice(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.somebody_is_awaited(OTHER)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        told = await day.desk.scan(UNIT)
        assert told == f"{UNIT} (Millrace, crew Avocet) was checked in already; it is in confirm on station S1."
        await day.settled()
        assert day.items("check in", UNIT) == []
    assert len(shop.entries("unit_arrived", UNIT)) == 1


async def test_two_who_check_in_the_same_unit(shop: Shop) -> None:
    shop.only(UNIT)
    shop.people.answers["check in"] = None
    async with shop.running() as day:
        asked = await day.item("check in", UNIT)
        await day.desk.scan(UNIT)
        await day.settled()
        assert len(day.items("check in", UNIT)) == 1
        await day.desk.answer(asked.item.id, {"here": "arrived", **CONSENT}, TOBIAS, "person")
        with pytest.raises(InputError, match=f"{TOBIAS} has answered item"):
            await day.desk.answer(asked.item.id, {"here": "absent"}, INES, "person")
        await day.until_state(UNIT, State.HANDED_BACK)
    assert (len(shop.entries("unit_arrived")), len(shop.entries("unit_absent"))) == (1, 0)


async def test_what_stands_on_a_label_finds_its_unit(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    async with shop.running() as day:
        for code, serial in (
            (UNIT, UNIT),
            (f"MR/{UNIT}/B", UNIT),
            (f"  {OTHER} ", OTHER),
            ("what is this", "what is this"),
        ):
            assert day.desk.serial_in(code) == serial


async def test_who_brought_it_stands_beside_the_chain(shop: Shop) -> None:
    shop.only(UNIT)
    shop.people.answers["check in"] = {"here": "arrived", "brought_by": "Maren Oakhurst", **CONSENT}
    await shop.whole_day()
    reference = shop.facts("unit_arrived", UNIT)[0]["checked_in"]["brought_by_ref"]
    assert await shop.beside.look_up(reference) == "Maren Oakhurst"
    assert not [e for e in shop.journal.read() if b"Oakhurst" in e.body]


async def test_a_day_whose_units_are_all_absent_ends(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.people.answers["check in"] = {"here": "absent"}
    day = await shop.whole_day()
    assert (day.why, {u.state for u in day.state.units.values()}) == ("finished", {State.ABSENT})
