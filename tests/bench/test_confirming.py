"""The confirmation: what is read off the label, what a scan does not answer, what makes a permit worthless."""

from __future__ import annotations

import anyio
import pytest

from benchday.bench.permit_desk import Confirmation
from benchday.bench.serving import Tools
from benchday.domain.errors import InputError, PermitRefused
from benchday.domain.permits import Act, Permit, Reading, Verb
from benchday.domain.steps import State
from tests.bench.shop import INES, MINUTE_US, TOBIAS, Shop

pytestmark = pytest.mark.asyncio
UNIT, TWIN, OTHER = "007421530018", "007421540018", "WS-41-00342"


async def test_a_wrong_label_is_refused_and_nothing_says_what_should_stand_there(shop: Shop) -> None:
    shop.only(UNIT)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        asked = await day.item("confirm", UNIT)
        assert UNIT[-4:] not in asked.item.text
        assert "00742153····" in asked.item.text
        for typed in ("0019", "", "8100", "00742153", OTHER, "····"):
            with pytest.raises(InputError, match="not what the label of this unit says") as refused:
                await day.answer("confirm", UNIT, answer="write", label=typed)
            assert UNIT[-4:] not in str(refused.value)
        assert shop.entries("permit_given") == []
        await day.answer("confirm", UNIT, answer="write", label=f" {UNIT[-4:]} ")
        await day.until_state(UNIT, State.HANDED_BACK)


@pytest.mark.parametrize("typed", [UNIT, UNIT[-4:]])
async def test_the_whole_serial_or_its_last_four_will_do(shop: Shop, typed: str) -> None:
    shop.only(UNIT)
    shop.people.answers["confirm"] = {"answer": "write", "label": typed}
    day = await shop.whole_day()
    assert day.unit(UNIT).writes == ["2.10"]


async def test_letters_may_be_large_or_small(shop: Shop) -> None:
    shop.only(OTHER)
    shop.people.answers["confirm"] = {"answer": "write", "label": OTHER.lower()}
    day = await shop.whole_day()
    assert day.unit(OTHER).writes == ["2.10"]


async def test_where_two_units_end_alike_the_whole_serial_is_wanted(shop: Shop) -> None:
    shop.only(UNIT, TWIN)
    shop.people.answers |= {"confirm": None}
    async with shop.running() as day:
        asked = await day.item("confirm", UNIT)
        assert "read the whole serial off its label" in asked.item.text
        assert UNIT[:-4] not in asked.item.text
        with pytest.raises(InputError, match="another unit that is here ends on the same four"):
            await day.answer("confirm", UNIT, answer="write", label="0018")
        with pytest.raises(InputError, match="not what the label"):
            await day.answer("confirm", UNIT, answer="write", label=TWIN)
        await day.answer("confirm", UNIT, answer="write", label=UNIT)
        await day.until_state(UNIT, State.READY, State.HANDED_BACK)


async def test_a_twin_that_arrives_meanwhile_makes_the_last_four_too_few(shop: Shop) -> None:
    shop.only(UNIT, TWIN)
    shop.people.answers |= {"confirm": None, f"check in {TWIN}": None}
    async with shop.running() as day:
        asked = await day.item("confirm", UNIT)
        assert "last four" in asked.item.wanted[1].label
        await day.answer("check in", TWIN, here="arrived", consent_release=True)
        await day.until(lambda: day.unit(TWIN).present)
        with pytest.raises(InputError, match="another unit that is here ends on the same four"):
            await day.answer("confirm", UNIT, answer="write", label="0018")
        assert shop.units[UNIT].reaches == []


async def test_who_may_not_confirm_does_not(shop: Shop) -> None:
    shop.only(UNIT)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        with pytest.raises(InputError, match=f"{TOBIAS} may not confirm"):
            await day.answer("confirm", UNIT, who=TOBIAS, answer="write", label=UNIT[-4:])
        assert day.items("confirm", UNIT)


async def test_not_now_holds_the_unit_until_it_is_lifted(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.somebody_is_awaited(OTHER)
    shop.people.answers["confirm"] = {"answer": "not now"}
    async with shop.running() as day:
        await day.until(lambda: day.unit(UNIT).state is State.HELD and day.unit(UNIT).station is None)
        assert day.unit(UNIT).held_code == "not now"
        assert shop.entries("permit_given") == []
        shop.people.answers["confirm"] = {"answer": "write", "label": UNIT}
        await day.desk.lift(UNIT, "the crew has agreed", INES)
        await day.until_state(UNIT, State.READY)


async def test_a_scan_never_answers_a_confirmation(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.people.answers |= {"confirm": None}
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        await day.item("confirm", OTHER)
        for code in (UNIT, f"MR/{UNIT}/B", OTHER, UNIT[-4:]):
            told = await day.desk.scan(code)
            await day.settled()
            assert day.items("confirm", UNIT)
            assert day.items("confirm", OTHER)
            if code != UNIT[-4:]:
                assert "confirm on station" in told
        assert shop.entries("permit_given") == []


async def test_what_is_confirmed_is_what_is_shown(shop: Shop) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": b"a" * 60, "B.rnx": b"b" * 40}
    await shop.whole_day()
    (given,) = shop.facts("permit_given", UNIT)
    image = next(i for i in shop.plan.images.images if (i.release, i.models) == ("2.10", ("Millrace",)))
    assert given["permit"]["acts"] == [
        {"verb": "write image", "digest": image.sha256, "bytes": image.bytes, "release": "2.10"}
    ]
    assert [(x["name"], x["bytes"]) for x in given["permit"]["losses"]] == [("A.rnx", 60), ("B.rnx", 40)]
    assert {x["sha256"] for x in given["permit"]["losses"]} == set(shop.kept.files)
    shown = given["shown"]
    for words in ("Millrace", "hardware B", "station S1", image.sha256[:16], "A.rnx", "2.9", "2.10", "CAUTION"):
        assert words in shown


async def permit_for(tools: Tools) -> Permit:
    """Have a write of a unit confirmed."""
    asked = Confirmation(
        UNIT, "S1", "Millrace", "B", (Act(Verb.WRITE_IMAGE, "ab" * 32, 100, "2.10"),), (), "cd" * 32, (), ()
    )
    given: list[Permit | None] = []

    async def ask() -> None:
        given.append(await tools.desk.confirm(asked))

    async with anyio.create_task_group() as tasks:
        tasks.start_soon(ask)
        await anyio.wait_all_tasks_blocked()
        number = tools.queue.ordered()[-1].item.id
        await tools.queue.answer(number, {"answer": "write", "label": UNIT}, INES, "person")
    assert given[0] is not None
    return given[0]


READING = Reading(UNIT, "Millrace", "B", Verb.WRITE_IMAGE, "ab" * 32, "cd" * 32)


async def test_a_permit_is_spent_once(shop: Shop) -> None:
    shop.only(UNIT)
    async with shop.opened() as tools:
        permit = await permit_for(tools)
        assert tools.open_permits() == ((permit.id, UNIT),)
        assert (await tools.desk.spend(permit, READING)).unit == UNIT
        assert tools.open_permits() == ()
        with pytest.raises(PermitRefused):
            await tools.desk.spend(permit, READING)
    assert len(shop.entries("act_spent")) == 1


async def test_a_permit_expires_by_the_clock_on_the_wall(shop: Shop) -> None:
    shop.only(UNIT)
    async with shop.opened() as tools:
        permit = await permit_for(tools)
        shop.clock.advance(10 * MINUTE_US + 1)
        with pytest.raises(PermitRefused, match="the permit has expired"):
            await tools.desk.spend(permit, READING)
        with pytest.raises(PermitRefused, match="voided"):
            await tools.desk.spend(permit, READING)
    assert shop.entries("act_spent") == []
    assert "the permit has expired" in shop.facts("permit_voided")[0]["reason"]


async def test_a_restart_of_the_program_voids_a_permit(shop: Shop) -> None:
    shop.only(UNIT)
    async with shop.opened() as tools:
        permit = await permit_for(tools)
    async with shop.opened() as tools:
        assert tools.open_permits() == ()
        with pytest.raises(PermitRefused, match="not given by the program that runs now"):
            await tools.desk.spend(permit, READING)


async def test_a_confirmation_that_nobody_gave_needs_the_units_proof(shop: Shop) -> None:
    """Whoever answers through the pipe cannot read a label."""
    shop.only(UNIT)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        asked = await day.item("confirm", UNIT)
        shop.units[UNIT].befalls["hand:prove"] = []
        await day.desk.answer(asked.item.id, {"answer": "write", "label": UNIT[-4:]}, INES, "pipe")
        await day.until_state(UNIT, State.HELD)
        assert "not proved that it is a simulator" in (day.unit(UNIT).held_reason or "")
    assert shop.units[UNIT].reaches == []
