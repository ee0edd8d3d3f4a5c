"""A set that does not come along whole: asked before anything of it is written, and again whenever that changes."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from benchday.domain.errors import InputError
from benchday.domain.steps import State
from tests.bench.shop import INES, MINUTE_US, TOBIAS, OpenDay, Shop

pytestmark = pytest.mark.asyncio
BASE, ROVER = "WS-41-00342", "007421530018"
"""Base and rover of crew Avocet, both on 2.9; the newest release is 2.10."""
CHOICE = "choice Avocet"


def choices(day: OpenDay) -> Sequence[str]:
    """Return what may be chosen now."""
    return day.items(CHOICE)[0].item.wanted[0].choices


async def choose(day: OpenDay, answer: str) -> None:
    """Choose as somebody who may."""
    await day.answer(CHOICE, answer=answer, reason="agreed with the crew")


async def test_without_its_rover_a_base_is_not_written_before_somebody_has_chosen(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {f"check in {ROVER}": {"here": "absent"}, "choice": None}
    async with shop.running() as day:
        asked = await day.item(CHOICE)
        await day.settled()
        assert f"{ROVER} of crew Avocet is absent" in asked.item.text
        assert shop.entries("permit_given") == []
        with pytest.raises(InputError, match=f"{TOBIAS} may not confirm"):
            await day.answer(CHOICE, who=TOBIAS, answer="split", reason="no matter")
        with pytest.raises(InputError, match="why: a value is needed"):
            await day.answer(CHOICE, answer="split")
        await choose(day, "split")
        await day.until_state(BASE, State.HANDED_BACK)
        assert day.unit(BASE).writes == ["2.10"]
    (decided,) = shop.entries("set_decided")
    assert (decided.operator, decided.facts["choice"], decided.facts["crew"]) == (INES, "split", "Avocet")
    assert decided.facts["reason"] == "agreed with the crew"


async def test_a_release_that_works_with_the_held_unit_is_kept(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.units[ROVER].befalls["open"] = [None]
    shop.people.answers |= {"choice": None, f"confirm {ROVER}": {"answer": "not now"}, f"check in {BASE}": None}
    async with shop.running() as day:
        await day.until_state(ROVER, State.HELD)
        await day.answer("check in", BASE, here="arrived", consent_release=True, consent_erase=True, consent_copy=True)
        asked = await day.item(CHOICE)
        assert choices(day) == ("wait", "keep", "split")
        assert f"{ROVER} of crew Avocet is held" in asked.item.text
        await choose(day, "keep")
        await day.until_state(BASE, State.READY, State.HANDED_BACK)
        assert (day.unit(BASE).writes, day.unit(BASE).has) == ([], "2.9")
        assert f"kept at 2.9 so that it works together with {ROVER}" in day.unit(BASE).target_reason


async def test_written_units_go_back_where_the_route_allows_it_and_only_under_a_new_permit(shop: Shop) -> None:
    """2.10 may return to 2.9; the base was ready when the rover had to be held."""
    shop.only(BASE, ROVER)
    shop.people.answers |= {"choice": None, "hand back": None, f"confirm {ROVER}": None}
    async with shop.running() as day:
        await day.until_state(BASE, State.READY)
        await day.answer("confirm", ROVER, answer="not now")
        await day.item(CHOICE)
        assert choices(day) == ("wait", "back", "split")
        await choose(day, "back")
        await day.until(lambda: day.unit(BASE).writes == ["2.10", "2.9"])
        await day.until_state(BASE, State.READY)
        assert day.unit(BASE).has == "2.9"
    targets = [e.facts for e in shop.entries("target_set", BASE) if e.facts["route"]]
    assert (targets[-1]["release"], targets[-1]["back"], targets[-1]["reason_code"]) == ("2.9", True, "back")
    spent = shop.entries("act_spent", BASE)
    assert [e.facts["release"] for e in spent] == ["2.10", "2.9"]
    assert len({e.facts["permit"] for e in spent}) == 2
    assert [e.facts["why"] for e in shop.entries("unit_recalled", BASE)] == [
        "the set of crew Avocet goes back together"
    ]


async def test_a_set_that_waits_goes_on_by_itself_once_it_is_whole(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {"choice": None, f"confirm {ROVER}": {"answer": "not now"}, f"check in {BASE}": None}
    async with shop.running() as day:
        await day.until_state(ROVER, State.HELD)
        await day.answer("check in", BASE, here="arrived", consent_release=True, consent_erase=True, consent_copy=True)
        await day.item(CHOICE)
        await choose(day, "wait")
        await day.until_state(BASE, State.WAITING)
        await day.settled()
        assert day.desk.waiting_reasons()[BASE].startswith("the set of crew Avocet waits: ")
        assert shop.entries("permit_given", BASE) == []
        shop.people.answers[f"confirm {ROVER}"] = shop.people.answers["confirm"]
        await day.until(lambda: day.unit(ROVER).station is None)
        await day.desk.lift(ROVER, "the crew agrees now", INES)
        await day.until(lambda: all(day.unit(u).state is State.HANDED_BACK for u in (BASE, ROVER)))
        assert (day.unit(BASE).writes, day.unit(ROVER).writes) == (["2.10"], ["2.10"])
    assert [f["choice"] for f in shop.facts("set_decided")] == ["wait", "together"]


async def test_a_choice_can_be_made_anew(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {f"check in {ROVER}": {"here": "absent"}, "choice": None}
    async with shop.running() as day:
        with pytest.raises(InputError, match="no crew Plover today; crews: Avocet"):
            await day.desk.choose("Plover")
        await day.item(CHOICE)
        await choose(day, "wait")
        await day.settled()
        await day.desk.choose("Avocet")
        await choose(day, "split")
        await day.until_state(BASE, State.HANDED_BACK)
        assert day.unit(BASE).writes == ["2.10"]


async def test_an_equal_situation_is_not_asked_twice_and_survives_a_restart(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {f"check in {ROVER}": {"here": "absent"}, "choice": None, "confirm": None}
    async with shop.running() as day:
        await day.item(CHOICE)
    async with shop.running() as day:
        await day.settled()
        await choose(day, "split")
        await day.item("confirm", BASE)
    async with shop.running() as day:
        await day.item("confirm", BASE)
        await day.settled()
        assert day.items(CHOICE) == []
    assert len(shop.entries("set_decided")) == 1


async def test_a_rover_that_turns_out_to_be_held_ends_the_confirmation_of_its_base(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {"choice": None, "confirm": None}
    async with shop.running() as day:
        first = await day.item("confirm", BASE)
        await day.answer("confirm", ROVER, answer="not now")
        await day.item(CHOICE)
        await day.answer("confirm", BASE, answer="write", label=BASE)
        await day.settled()
        assert shop.entries("act_spent", BASE) == []
        assert [f["reason"] for f in shop.facts("permit_voided", BASE)] == [
            "its set does not come along whole any more: what it does is chosen anew"
        ]
        await choose(day, "split")
        again = await day.item("confirm", BASE)
        assert again.item.id != first.item.id


async def test_a_unit_is_late_a_quarter_of_an_hour_after_its_time(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {f"check in {ROVER}": None, "choice": None, "confirm": None}
    async with shop.running() as day:
        await day.item("confirm", BASE)
        shop.clock.advance(15 * MINUTE_US - 1)
        await day.settled()
        assert day.items(CHOICE) == []
        shop.clock.advance(1)
        asked = await day.item(CHOICE)
        assert f"{ROVER} of crew Avocet is late" in asked.item.text


async def test_wanted_back_early_it_is_not_begun_and_its_set_is_chosen_for(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {"choice": None, "confirm": None, "wanted": None}
    async with shop.running() as day:
        await day.item("confirm", BASE)
        await day.desk.want_back(ROVER)
        with pytest.raises(InputError, match="time by which it is wanted back"):
            await day.answer("wanted back", ROVER, by="25:00")
        with pytest.raises(InputError, match="07:00 is past"):
            await day.answer("wanted back", ROVER, by="07:00")
        await day.answer("wanted back", ROVER, by="08:20", reason="they are called to a burst bank")
        asked = await day.item(CHOICE)
        assert f"{ROVER} of crew Avocet is wanted back early" in asked.item.text
        await choose(day, "split")
        await day.answer("confirm", ROVER, answer="write", label=ROVER[-4:])
        await day.until(lambda: day.unit(ROVER).not_today is not None)
        assert "until it is wanted back" in (day.unit(ROVER).not_today or "")
        assert shop.units[ROVER].reaches == []
    (wanted,) = shop.entries("wanted_back", ROVER)
    assert await shop.beside.look_up(wanted.facts["reason_ref"]) == "they are called to a burst bank"


async def test_what_is_asked_is_withdrawn_once_the_set_is_whole(shop: Shop) -> None:
    """Late, and then it comes: nobody need answer any more, and the base goes on by itself."""
    shop.only(BASE, ROVER)
    shop.people.answers |= {f"check in {ROVER}": None, "choice": None, "confirm": None}
    async with shop.running() as day:
        await day.item("confirm", BASE)
        shop.clock.advance(15 * MINUTE_US)
        asked = await day.item(CHOICE)
        await day.answer("check in", ROVER, here="arrived", consent_release=True, consent_erase=True, consent_copy=True)
        await day.until(lambda: day.state.items[asked.item.id].voided is not None)
        await day.settled()
        assert day.items(CHOICE) == []
        await day.answer("confirm", BASE, answer="write", label=BASE)
        # That the base was looked at is a quarter of an hour ago: it is looked at anew, and asked about again.
        await day.answer("confirm", BASE, answer="write", label=BASE)
        await day.until(lambda: day.unit(BASE).writes == ["2.10"])
    assert shop.entries("set_decided") == []


async def test_an_answer_is_never_taken_for_another_situation(shop: Shop) -> None:
    """First late, then known to be absent: what was asked about the one is withdrawn, and the other asked."""
    shop.only(BASE, ROVER)
    shop.people.answers |= {f"check in {ROVER}": None, "choice": None, "confirm": None}
    async with shop.running() as day:
        await day.item("confirm", BASE)
        shop.clock.advance(15 * MINUTE_US)
        late = await day.item(CHOICE)
        await day.answer("check in", ROVER, here="absent")
        await day.until(lambda: day.state.items[late.item.id].voided is not None)
        absent = await day.item(CHOICE)
        assert late.item.id != absent.item.id
        assert f"{ROVER} of crew Avocet is absent" in absent.item.text
        with pytest.raises(InputError, match="was withdrawn: the set stands otherwise now"):
            await day.desk.answer(late.item.id, {"answer": "split", "reason": "agreed"}, INES, "person")
        await choose(day, "split")
        await day.settled()
    assert [f["why"] for f in shop.facts("set_decided")] == [absent.item.text.split(": ", 1)[1].splitlines()[0][:-1]]
