"""Sets that are proved to work together, and hand-back."""

from __future__ import annotations

import pytest

from benchday.domain.errors import InputError
from benchday.domain.steps import State
from tests.bench.shop import Shop

pytestmark = pytest.mark.asyncio
BASE, ROVER = "WS-41-00342", "007421530018"
"""Base and rover of crew Avocet."""


async def test_a_set_is_proved_once_both_are_ready_and_handed_back_after_that(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers[f"last look {BASE}"] = None
    async with shop.running() as day:
        await day.until_state(ROVER, State.READY)
        await day.settled()
        assert day.items("set up Avocet") == []
        assert day.items("hand back") == [], "the crew takes its set away together"
        await day.answer("last look", BASE)
        await day.until(lambda: all(day.unit(u).state is State.HANDED_BACK for u in (BASE, ROVER)))
    (proved,) = shop.entries("set_proved")
    assert (proved.facts["works"], proved.facts["units"], proved.facts["base_heard"]) == (True, [BASE, ROVER], BASE)
    assert all(e.seq > proved.seq for e in shop.entries("unit_handed_back"))


@pytest.mark.parametrize(
    ("shown", "seen"),
    [
        ({"fix": "none"}, "fix none, base none"),
        ({"fix": "fixed", "base": "WS-41-00999"}, "fix fixed, base WS-41-00999"),
        ({"fix": "single", "base": BASE}, f"fix single, base {BASE}"),
    ],
)
async def test_a_set_that_does_not_work_is_decided_by_a_person(shop: Shop, shown: dict[str, str], seen: str) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {"set": shown, "failed": None}
    async with shop.running() as day:
        asked = await day.item("failed set Avocet")
        assert seen in asked.item.text
        await day.settled()
        assert day.items("hand back") == []
        shop.people.answers["set"] = {"fix": "fixed", "base": BASE}
        await day.answer("failed set Avocet", answer="try again")
        await day.until(lambda: all(day.unit(u).state is State.HANDED_BACK for u in (BASE, ROVER)))
    assert [f["works"] for f in shop.facts("set_proved")] == [True]


async def test_a_set_may_be_handed_back_as_it_is_and_that_is_told(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {"set": {"fix": "none"}, "failed": {"answer": "hand back", "reason": "they will retune it"}}
    day = await shop.whole_day()
    assert [f["works"] for f in shop.facts("set_proved")] == [False]
    assert day.unit(BASE).state is State.HANDED_BACK


async def test_a_set_without_its_held_rover_is_handed_back_without_proof(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.units[ROVER].serial = "007421530019"
    day = await shop.whole_day()
    assert (day.unit(BASE).state, day.unit(ROVER).state) == (State.HANDED_BACK, State.HELD)
    assert shop.entries("set_proved") == []


async def test_that_a_crews_rover_is_away_is_put_to_a_person_before_its_base_is_written(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers |= {f"check in {ROVER}": {"here": "absent"}, "choice": None}
    async with shop.running() as day:
        await day.until_state(ROVER, State.ABSENT)
        await day.until_state(BASE, State.CHECK)
        await day.settled()
        asked = await day.item("choice Avocet")
        assert f"{ROVER} of crew Avocet is absent" in asked.item.text
        assert shop.units[BASE].reaches == []


async def test_hand_back_wants_a_name_and_counts_the_accessories(shop: Shop) -> None:
    shop.only(ROVER)
    shop.people.answers |= {
        "check in": {"here": "arrived", "consent_release": True, "missing": "pole clamp"}, "hand back": None,
    }  # fmt: skip
    async with shop.running() as day:
        asked = await day.item("hand back", ROVER)
        assert "antenna, field controller" in asked.item.text
        assert "pole clamp" not in asked.item.text
        with pytest.raises(InputError, match="who takes it: a value is needed"):
            await day.answer("hand back", ROVER)
        await day.answer("hand back", ROVER, to="Maren Oakhurst", missing="charger")
        await day.until_state(ROVER, State.HANDED_BACK)
    (facts,) = shop.facts("unit_handed_back")
    assert facts["missing"] == ["charger"]
    assert "pole clamp" not in facts["accessories"]
    assert "charger" not in facts["accessories"]
    assert await shop.beside.look_up(facts["to_ref"]) == "Maren Oakhurst"


async def test_hand_back_waits_over_a_restart(shop: Shop) -> None:
    shop.only(BASE, ROVER)
    shop.people.answers["hand back"] = None
    async with shop.running() as day:
        await day.until(lambda: len(day.items("hand back")) == 2)
    async with shop.running() as day:
        await day.settled()
        assert len(day.items("hand back")) == 2
        assert day.items("set up Avocet") == []
        for unit in (BASE, ROVER):
            await day.answer("hand back", unit, to="the crew")
        await day.ended.wait()
    assert day.why == "finished"
    assert len(shop.entries("set_proved")) == 1
