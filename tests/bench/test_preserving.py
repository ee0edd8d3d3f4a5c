"""Recordings: copied and proved whole, or let go by their owner, before anything erases them."""

from __future__ import annotations

import hashlib

import pytest

from benchday.domain.errors import LinkGone, TransferCut
from benchday.domain.playbook import StepName
from benchday.domain.steps import State
from tests.bench.shop import Shop

pytestmark = pytest.mark.asyncio
UNIT = "007421530018"
A, B = b"a" * 500, b"b" * 300


async def test_a_cable_that_comes_off_during_a_copy(shop: Shop) -> None:
    """The unit is identified anew, what was whole is kept, nothing partial is, and the day goes on."""
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": A, "B.rnx": B}
    unit.befalls["fetch"] = [None, LinkGone("the cable came off")]
    day = await shop.whole_day()
    assert sorted(shop.kept.files.values()) == [A, B]
    assert len(shop.facts("unit_identified", UNIT)) == 3, "before, after the cut, and at the verify"
    assert day.unit(UNIT).writes == ["2.10"]


async def test_a_copy_that_fails_is_tried_again_then_put_to_its_owner(shop: Shop) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": A}
    tries = next(p for p in shop.plan.playbooks if p.playbook == "millrace").step(StepName.PRESERVE).tries
    unit.befalls["fetch"] = [TransferCut("checksums differ", 250)] * tries
    shop.people.answers["recording"] = None
    async with shop.running() as day:
        asked = await day.item("recording A.rnx", UNIT)
        assert "A.rnx (500 bytes)" in asked.item.text
        assert "checksums differ" in asked.item.text
        assert "would erase it for good" in asked.item.text
        assert shop.kept.files == {}
        await day.answer("recording A.rnx", UNIT, answer="try again")
        await day.until_state(UNIT, State.HANDED_BACK)
    assert list(shop.kept.files.values()) == [A]
    assert shop.entries("recordings_let_go") == []


async def test_letting_go_needs_the_owners_name(shop: Shop) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": A}
    unit.befalls["fetch"] = [TransferCut("checksums differ", 250)] * 9
    shop.people.answers |= {"recording": None, "confirm": None}
    async with shop.running() as day:
        first = await day.item("recording A.rnx", UNIT)
        await day.answer("recording A.rnx", UNIT, answer="let go")
        await day.until(lambda: bool(day.items("recording A.rnx")) and day.items("recording A.rnx")[0] is not first)
        assert shop.entries("recordings_let_go") == []
        await day.answer("recording A.rnx", UNIT, answer="let go", owner="Maren Oakhurst", how="in person")
        asked = await day.item("confirm", UNIT)
        assert "LOST FOR GOOD, let go by the owner: A.rnx (500 bytes)" in asked.item.text
    (let_go,) = shop.facts("recordings_let_go", UNIT)
    assert await shop.beside.look_up(let_go["owner_ref"]) == "Maren Oakhurst"
    assert not [e for e in shop.journal.read() if b"Oakhurst" in e.body]


async def test_without_consent_to_copying_nothing_is_copied(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].recordings = {"A.rnx": A}
    shop.people.answers["check in"] = {"here": "arrived", "consent_release": True, "consent_erase": True}
    day = await shop.whole_day()
    assert day.unit(UNIT).state is State.HELD
    assert "did not agree to copying" in (day.unit(UNIT).held_reason or "")
    assert shop.kept.files == {}
    assert "fetch" not in shop.units[UNIT].calls


async def test_a_copy_in_the_archive_that_went_bad_is_made_again(shop: Shop) -> None:
    """What was preserved in the morning is looked at again before it counts."""
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": A}
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", UNIT)
    digest = hashlib.sha256(A).hexdigest()
    shop.kept.files[digest] = b"rotten"
    async with shop.running() as day:
        await day.until(lambda: len(shop.entries("recording_preserved", UNIT)) == 2)
        await day.item("confirm", UNIT)
        assert day.items("recording A.rnx") == []
    assert shop.kept.files == {digest: A}


async def test_a_copy_that_went_bad_while_the_confirmation_was_waited_for(shop: Shop) -> None:
    """It is read again before the write may erase what it is a copy of; the permit is void, and it is copied anew."""
    shop.only(UNIT)
    shop.units[UNIT].recordings = {"A.rnx": A}
    shop.people.answers["confirm"] = None
    digest = hashlib.sha256(A).hexdigest()
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        shop.kept.files[digest] = b"rotten"
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until(lambda: len(shop.entries("recording_preserved", UNIT)) == 2)
        assert shop.facts("permit_voided")[0]["reason"] == "copies in the archive are not whole any more: A.rnx"
        assert shop.entries("act_spent") == []
        await day.item("confirm", UNIT)
        assert shop.kept.files == {digest: A}
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until_state(UNIT, State.HANDED_BACK)
    assert day.unit(UNIT).writes == ["2.10"]


async def test_a_recording_that_came_between_the_check_and_the_confirmation(shop: Shop) -> None:
    """Whoever tries the unit at its station may record something: it is not erased unseen."""
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": A}
    shop.people.answers["recording"] = None
    async with shop.running() as day:
        await day.until_state(UNIT, State.PRESERVE)
        unit.recordings["B.rnx"] = B
        await day.until_state(UNIT, State.HANDED_BACK)
    assert sorted(shop.kept.files.values()) == [A, B]


async def test_a_name_that_was_let_go_before_does_not_settle_another_recording(shop: Shop) -> None:
    """What its owner let go had other bytes: the one that is there now is put to them again."""
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": A}
    unit.befalls["fetch"] = [TransferCut("checksums differ", 250)] * 99
    shop.people.answers |= {"recording": None, "confirm": None}
    async with shop.running() as day:
        await day.answer("recording A.rnx", UNIT, answer="let go", owner="Maren Oakhurst", how="in person")
        await day.item("confirm", UNIT)
        unit.recordings = {"A.rnx": A + B}
    async with shop.running() as day:
        asked = await day.item("recording A.rnx", UNIT)
        assert "800 bytes" in asked.item.text


async def test_one_that_is_gone_in_the_copy_is_let_go_and_the_unit_goes_on(shop: Shop) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": A, "B.rnx": B}
    unit.happens["fetch"] = lambda: unit.recordings.__delitem__("B.rnx")
    shop.people.answers["recordings gone"] = {"answer": "let go", "owner": "Maren Oakhurst", "how": "in person"}
    day = await shop.whole_day()
    assert day.unit(UNIT).writes == ["2.10"]
    assert list(shop.kept.files.values()) == [A]
    assert not [f for f in shop.facts("item_asked", UNIT) if f["item"]["topic"] == "recording B.rnx"]
