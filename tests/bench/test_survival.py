"""What did not survive a write: decided by a person where the playbook says so, else a failed verify."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from benchday.domain.errors import InputError
from benchday.domain.steps import State
from tests.bench.shop import INES, TOBIAS, Shop

pytestmark = pytest.mark.asyncio
UNIT = "007421530018"
FREQUENCY = {"frequency_khz": "461025"}


def asks_about(shop: Shop, *fields: str) -> None:
    """Let a person accept changes of these fields."""
    books = [b.model_copy(update={"ask_if_changed": fields}) for b in shop.plan.playbooks]
    shop.plan = replace(shop.plan, playbooks=tuple(books))


def after_the_write(shop: Shop, **settings: str) -> None:
    """Let the unit be set so once it was written, with a mask of 10 degrees before."""
    unit = shop.units[UNIT]
    unit.settings = {**FREQUENCY, "elevation_mask_deg": "10"}
    unit.happens["after write"] = lambda: setattr(unit, "settings", dict(settings))


async def test_a_change_that_a_person_accepts_is_written_down_with_the_reason(shop: Shop) -> None:
    shop.only(UNIT)
    asks_about(shop, "elevation_mask_deg")
    after_the_write(shop, **FREQUENCY)
    shop.people.answers["changed"] = {"answer": "accept", "reason": "the crew sets it each morning"}
    day = await shop.whole_day()
    assert day.unit(UNIT).state is State.HANDED_BACK
    (verified,) = shop.entries("unit_verified", UNIT)
    assert verified.operator == INES
    assert verified.facts["settings_same"] is False
    assert verified.facts["differences"] == [
        f"setting elevation_mask_deg is gone, before 10; accepted by {INES}: the crew sets it each morning"
    ]
    assert day.state.lines_stopped == {}


async def test_a_change_that_is_not_accepted_fails_the_verify_and_stops_the_line(shop: Shop) -> None:
    shop.only(UNIT)
    asks_about(shop, "elevation_mask_deg")
    after_the_write(shop, **FREQUENCY, elevation_mask_deg="15")
    shop.people.answers |= {"changed": {"answer": "fail", "reason": "nobody asked for that"}, "line": None}
    async with shop.running() as day:
        line = await day.item("line Millrace 2.10")
    assert "setting elevation_mask_deg is 15, before 10" in line.item.text
    assert day.unit(UNIT).held_code == "verify"
    assert f"{INES} decided: nobody asked for that" in (day.unit(UNIT).held_reason or "")
    assert shop.entries("unit_verified") == []


async def test_only_who_may_confirm_accepts_a_change_and_only_with_a_reason(shop: Shop) -> None:
    shop.only(UNIT)
    asks_about(shop, "elevation_mask_deg")
    after_the_write(shop, **FREQUENCY)
    shop.people.answers["changed"] = None
    async with shop.running() as day:
        asked = await day.item("changed", UNIT)
        assert "is not as it was before the write: setting elevation_mask_deg is gone, before 10" in asked.item.text
        with pytest.raises(InputError):
            await day.answer("changed", UNIT, who=TOBIAS, answer="accept", reason="looks good")
        with pytest.raises(InputError, match="why: a value is needed"):
            await day.answer("changed", UNIT, answer="accept")
        assert shop.entries("unit_verified") == []
        await day.answer("changed", UNIT, answer="accept", reason="agreed")
        await day.until_state(UNIT, State.HANDED_BACK)


@pytest.mark.parametrize("also", [{}, {"elevation_mask_deg": "10"}])
async def test_a_lost_frequency_fails_the_verify_and_stops_the_line_unasked(shop: Shop, also: dict[str, Any]) -> None:
    """Also where something else was lost that a person might have accepted."""
    shop.only(UNIT)
    asks_about(shop, "elevation_mask_deg")
    after_the_write(shop, **also)
    shop.people.answers["line"] = None
    async with shop.running() as day:
        await day.item("line Millrace 2.10")
        await day.settled()
        assert day.unit(UNIT).held_code == "verify"
        assert day.items("changed") == []
    reason = day.unit(UNIT).held_reason or ""
    assert "setting frequency_khz is gone, before 461025 (local rules and the owner's licence say" in reason
    assert ("elevation_mask_deg is gone" in reason) == (not also)


async def test_a_term_that_was_renewed_today_may_differ(shop: Shop) -> None:
    """It is the renewal that came onto the unit; any other date fails the verify."""
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.term, unit.term_after = "2027-04-30", "2028-04-30"
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        day.unit(UNIT).term_renewed = "2028-04-30"
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until_state(UNIT, State.HANDED_BACK)
