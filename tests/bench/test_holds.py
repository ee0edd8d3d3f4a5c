"""Units set aside, lines stopped, and what lifts them."""

from __future__ import annotations

import pytest

from benchday.bench.day import is_over
from benchday.domain.errors import InputError
from benchday.domain.fold import DayState
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from tests.bench.fake_unit import SILENT, FakeUnit
from tests.bench.shop import INES, Shop

pytestmark = pytest.mark.asyncio
UNIT, OTHER = "007421530018", "007421530508"


async def test_another_unit_than_was_checked_in_is_held_and_lifted_when_put_right(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.somebody_is_awaited(OTHER)
    shop.units[UNIT].serial = "007421530019"
    shop.people.answers["set aside"] = None
    async with shop.running() as day:
        asked = await day.item("set aside", UNIT)
        assert UNIT in asked.item.text
        assert "007421530019" in asked.item.text
        assert [f["check"] for f in day.unit(UNIT).findings if f["answer"] == "stop"] == ["identity"]
        with pytest.raises(InputError, match="still on station S1: answer its item first"):
            await day.desk.lift(UNIT, "found", INES)
        await day.answer("set aside", UNIT)
        await day.until(lambda: day.unit(UNIT).station is None)
        with pytest.raises(InputError, match="with a reason"):
            await day.desk.lift(UNIT, " ", INES)
        shop.units[UNIT].serial = UNIT
        for endless in ("x" * 2001, "found \udcff"):
            with pytest.raises(InputError, match="a reason is a text"):
                await day.desk.lift(UNIT, endless, INES)
        await day.desk.lift(UNIT, "the right unit was found in the crate", INES)
        with pytest.raises(InputError, match="is not held"):
            await day.desk.lift(UNIT, "again", INES)
        await day.until_state(UNIT, State.HANDED_BACK)
    lifted = shop.entries("unit_lifted", UNIT)[0]
    assert (lifted.operator, lifted.facts["reason"]) == (INES, "the right unit was found in the crate")


async def test_another_model_than_was_checked_in_is_held(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].model = "Weirstone"
    day = await shop.whole_day()
    assert (day.unit(UNIT).held_code, shop.units[UNIT].reaches) == ("model", [])
    assert day.unit(UNIT).held_lifts == "the roster or the playbook is put right, or the right unit is checked in"


async def test_a_hold_from_findings_says_what_would_lift_each(shop: Shop) -> None:
    shop.store.files.clear()
    shop.only(UNIT)
    day = await shop.whole_day()
    clears = [f["clears"] for f in shop.facts("checked", UNIT)[-1]["findings"] if f["answer"] == "stop"]
    assert clears == ["millrace-2.10.fen is in the image store"]
    assert day.unit(UNIT).held_lifts == clears[0]


async def test_the_first_write_of_a_release_is_told_and_what_follows_it(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    await shop.whole_day()
    told = {
        unit: [f["text"] for f in shop.facts("checked", unit)[-1]["findings"] if f["check"] == "first off"]
        for unit in (UNIT, OTHER)
    }
    assert told == {
        UNIT: ["the first write of a Millrace on 2.10 today: others wait until it is verified"],
        OTHER: ["a Millrace on 2.10 was verified today: this one need not wait"],
    }


async def test_silence_asks_three_questions_then_holds(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].befalls["open"] = [SILENT] * 3
    day = await shop.whole_day()
    assert day.unit(UNIT).held_code == "silent"
    asked = [f["item"]["text"] for f in shop.facts("item_asked", UNIT) if f["item"]["topic"] == "silence"]
    assert len(asked) == 2
    cable = "Is cable R1 of the right type, with a round connector? Is it seated at both ends? Is the unit on?"
    assert cable in asked[0]
    assert cable in (day.unit(UNIT).held_reason or "")


async def test_silence_that_ends_holds_nobody_up(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].befalls["open"] = [SILENT]
    day = await shop.whole_day()
    assert day.unit(UNIT).state is State.HANDED_BACK


async def test_a_failed_verify_stops_its_line_until_it_is_lifted(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    unit = shop.units[UNIT]
    unit.releases = dict.fromkeys(unit.releases, "2.9")
    shop.people.answers["line"] = None
    async with shop.running() as day:
        asked = await day.item("line Millrace 2.10")
        assert "verify failed on unit 007421530018: the release is 2.9, expected 2.10" in asked.item.text
        await day.settled()
        assert day.unit(UNIT).held_code == "verify"
        assert day.unit(OTHER).state is State.WAITING
        assert day.desk.waiting_reasons()[OTHER] == "the line Millrace 2.10 is stopped"
        await day.answer("line Millrace 2.10", answer="lift", reason="this one unit kept its release")
        await day.until_state(OTHER, State.HANDED_BACK)
    assert shop.units[OTHER].release == "2.10"
    lifted = shop.entries("line_lifted")[0]
    assert lifted.operator == INES
    assert all(e.seq > lifted.seq for e in shop.entries("act_spent", OTHER))


async def test_a_line_that_stops_while_another_is_to_be_confirmed_takes_the_confirmation_back(shop: Shop) -> None:
    shop.only(UNIT, OTHER)
    shop.policy(first_off=False)
    unit = shop.units[UNIT]
    unit.releases = dict.fromkeys(unit.releases, "2.9")
    shop.people.answers |= {f"confirm {OTHER}": None, "line": None}
    async with shop.running() as day:
        await day.item("line Millrace 2.10")
        await day.answer("confirm", OTHER, answer="write", label=OTHER[-4:])
        await day.until(lambda: bool(shop.entries("permit_voided", OTHER)))
        await day.settled()
        assert shop.units[OTHER].reaches == []
        assert day.items("confirm", OTHER) == []
        await day.answer("line Millrace 2.10", answer="lift", reason="looked into")
        await day.answer("confirm", OTHER, answer="write", label=OTHER[-4:])
        await day.until_state(OTHER, State.READY, State.HANDED_BACK)
    assert day.unit(OTHER).permits == 2


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({"frequency_khz": "461050"}, "setting frequency_khz is 461050, before 461025"),
        ({}, "setting frequency_khz is gone, before 461025"),
    ],
)
async def test_settings_that_changed_fail_the_verify(shop: Shop, settings: dict[str, str], told: str) -> None:
    shop.only(UNIT)
    shop.people.answers["confirm"] = lambda *_: _changed(shop.units[UNIT], settings)
    day = await shop.whole_day()
    assert day.unit(UNIT).held_code == "verify"
    assert told in (day.unit(UNIT).held_reason or "")


def _changed(unit: FakeUnit, settings: dict[str, str]) -> dict[str, str]:
    """Change how the unit is set between the check and the verify, as a write may."""
    unit.settings = settings
    return {"answer": "write", "label": UNIT[-4:]}


async def test_a_support_term_that_changed_fails_the_verify(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].term, shop.units[UNIT].term_after = "2027-04-30", "2000-01-01"
    day = await shop.whole_day()
    assert day.unit(UNIT).held_code == "verify"
    assert "the support term it tells ends on 2000-01-01; before the write it ended on 2027-04-30" in (
        day.unit(UNIT).held_reason or ""
    )


async def test_without_the_owners_consent_nothing_is_written(shop: Shop) -> None:
    shop.only(UNIT)
    shop.people.answers["check in"] = {"here": "arrived", "consent_release": False}
    day = await shop.whole_day()
    assert (day.unit(UNIT).held_code, shop.units[UNIT].reaches) == ("consent", [])


async def test_without_consent_to_erase_recordings_are_safe(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].recordings = {"A.rnx": b"a"}
    shop.people.answers["check in"] = {"here": "arrived", "consent_release": True, "consent_copy": True}
    day = await shop.whole_day()
    assert day.unit(UNIT).held_code == "consent"
    assert shop.units[UNIT].recordings == {"A.rnx": b"a"}


async def test_a_decision_to_hold_holds_with_who_and_why(shop: Shop) -> None:
    shop.only(UNIT, support_until=None)
    shop.people.answers["findings"] = {"answer": "hold", "reason": "the crew does not know it either"}
    day = await shop.whole_day()
    assert day.unit(UNIT).state is State.HELD
    assert f"{INES} decided: the crew does not know it either" in (day.unit(UNIT).held_reason or "")
    assert "support term is not known" in (day.unit(UNIT).held_reason or "")


async def test_a_held_unit_does_not_hold_its_crew_back(shop: Shop) -> None:
    shop.only("WS-41-00297", "007421530104")
    shop.units["WS-41-00297"].serial = "WS-41-99999"
    day = await shop.whole_day()
    assert day.unit("WS-41-00297").state is State.HELD
    assert day.unit("007421530104").state is State.HANDED_BACK


async def test_while_people_are_there_the_day_stays_open_for_a_hold_until_closing(shop: Shop) -> None:
    held = UnitStory("1", "Millrace", "", "", "none", 0, state=State.HELD)
    state = DayState(begun={"closes_us": 1000}, units={"1": held})
    assert is_over(state, 10)
    assert not is_over(state, 10, linger=True)
    assert is_over(state, 1000, linger=True)
