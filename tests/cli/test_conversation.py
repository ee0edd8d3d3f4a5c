"""What a line means at the input line, at a real desk."""

from __future__ import annotations

from pathlib import Path

import anyio
import pytest

from benchday.cli.terminal.conversation import Conversation
from benchday.cli.terminal.prompts import CautionPrompt, Idle, ItemPrompt
from benchday.domain.kinds import UnitHeld
from tests.cli.small_day import CONFIRMED, EXPECTED, OPERATOR, WRITTEN, SmallDay, small_day


async def begun(day: SmallDay) -> Conversation:
    """Begin a conversation with the cautions of the day read."""
    talk = Conversation(day.desk, OPERATOR, "person")
    await talk.begin()
    while isinstance(talk.prompt, CautionPrompt):
        await talk.enter("y")
    return talk


def item_about(day: SmallDay, what: str) -> str:
    """Return the number of the open item whose topic this is."""
    return next(i.item.id for i in day.desk.items() if i.item.topic == what)


@pytest.mark.asyncio
async def test_the_cautions_of_the_day_come_first_and_a_scan_does_not_acknowledge_them(day: Path) -> None:
    async with small_day(day) as small:
        talk = Conversation(small.desk, OPERATOR, "person")
        await talk.begin()
        assert isinstance(talk.prompt, CautionPrompt)
        many = len(talk.prompt.cautions)
        await talk.enter(EXPECTED)
        assert isinstance(talk.prompt, CautionPrompt)
        assert len(talk.prompt.cautions) == many
        for _ in range(many):
            await talk.enter("y")
        assert isinstance(talk.prompt, Idle)
        assert len({name for name, _ in small.desk.state.cautions if name == OPERATOR}) == 1


@pytest.mark.asyncio
async def test_an_items_values_are_asked_one_after_the_other(day: Path) -> None:
    async with small_day(day, more_items=2) as small:
        talk = await begun(small)
        number = item_about(small, "look 1")
        await talk.enter(number)
        for typed in ("41", "many", "7", "lar", ""):
            assert isinstance(talk.prompt, ItemPrompt)
            await talk.enter(typed)
        answered = small.desk.state.items[number].answered
        assert answered is not None
        assert (dict(answered.value), answered.by) == ({"count": 7, "sort": "large"}, "person")


@pytest.mark.asyncio
async def test_what_was_typed_is_kept_when_an_item_is_left(day: Path) -> None:
    async with small_day(day, more_items=2) as small:
        talk = await begun(small)
        number = item_about(small, "look 1")
        await talk.enter(number)
        await talk.enter("7")
        talk.back()
        assert isinstance(talk.prompt, Idle)
        await talk.enter(number)
        assert talk.prompt.question().kept == "7"
        await talk.enter("")
        assert isinstance(talk.prompt, ItemPrompt)
        assert talk.prompt.values == {"count": 7}


@pytest.mark.asyncio
async def test_a_scan_of_another_unit_leaves_a_confirmation_open(day: Path) -> None:
    async with small_day(day) as small:
        talk = await begun(small)
        number = item_about(small, "confirm")
        await talk.enter(number)
        await talk.enter("write")
        await talk.enter(f"MR/{EXPECTED}/B")
        assert isinstance(talk.prompt, ItemPrompt)
        assert talk.prompt.item.unit == EXPECTED
        assert small.desk.state.items[number].open
        talk.back()
        await talk.enter(number)
        assert isinstance(talk.prompt, ItemPrompt)
        assert talk.prompt.values == {}, "nothing of a confirmation is kept"


@pytest.mark.asyncio
async def test_a_confirmation_is_not_answered_by_what_was_typed_before_it_was_shown(day: Path) -> None:
    async with small_day(day) as small:
        talk = await begun(small)
        idle, number = talk.prompt, item_about(small, "confirm")
        await talk.enter(number, idle)
        await talk.enter("write", idle)
        assert isinstance(talk.prompt, ItemPrompt)
        assert talk.prompt.values == {}
        assert "not used" in talk.message
        await talk.enter("write", talk.prompt)
        await talk.enter("", talk.prompt)
        assert "read it off the unit itself" in talk.message
        await talk.enter(CONFIRMED[-4:], talk.prompt)
        assert not small.desk.state.items[number].open


@pytest.mark.asyncio
async def test_an_item_that_is_answered_elsewhere_closes_and_the_line_is_not_used(day: Path) -> None:
    async with small_day(day, more_items=1) as small:
        talk = await begun(small)
        number = item_about(small, "look 0")
        await talk.enter(number)
        open_prompt = talk.prompt
        await small.desk.answer(number, {"count": 1, "sort": "small"}, "Tobias Wren", "person")
        talk.refresh()
        assert isinstance(talk.prompt, Idle)
        assert "answered by Tobias Wren" in talk.message
        await talk.enter("12345678", open_prompt)
        assert "not used: 12345678" in talk.message
        assert not any("12345678" in i.item.text for i in small.desk.items())
        await talk.enter(number)
        assert "answered by Tobias Wren" in talk.message


@pytest.mark.asyncio
async def test_an_unknown_code_may_be_a_walk_in_and_an_unknown_number_is_none(day: Path) -> None:
    async with small_day(day) as small:
        talk = await begun(small)
        await talk.enter("99")
        assert talk.message == "There is no item 99."
        await talk.enter("NEW-0001")
        assert isinstance(talk.prompt, ItemPrompt)
        assert "NEW-0001" in talk.prompt.item.text


@pytest.mark.asyncio
async def test_a_taken_item_is_not_done_twice_by_accident(day: Path) -> None:
    async with small_day(day, more_items=1) as small:
        talk = await begun(small)
        number = item_about(small, "look 0")
        await small.desk.take(number, "Tobias Wren")
        await talk.enter(number)
        assert "Tobias Wren has taken" in talk.message
        await talk.enter(number)
        assert isinstance(talk.prompt, ItemPrompt)


@pytest.mark.asyncio
async def test_who_acts_can_be_switched_and_is_what_stands_in_the_answer(day: Path) -> None:
    async with small_day(day, more_items=1) as small:
        talk = await begun(small)
        await talk.enter("/as Tob")
        while isinstance(talk.prompt, CautionPrompt):
            await talk.enter("y")
        number = item_about(small, "look 0")
        for typed in (number, "3", "1", ""):
            await talk.enter(typed)
        answered = small.desk.state.items[number].answered
        assert answered is not None
        assert answered.operator == "Tobias Wren"
        await talk.enter("/as nobody")
        assert "is none of" in talk.message
        await talk.enter("/as")
        await talk.enter("1")
        assert talk.operator == OPERATOR


@pytest.mark.asyncio
async def test_a_hold_is_lifted_with_a_reason_and_a_scan_is_no_reason(day: Path) -> None:
    async with small_day(day) as small:
        talk = await begun(small)
        await talk.enter(EXPECTED)
        await talk.enter("arrived")
        for _ in range(8):
            await talk.enter("")
        held = UnitHeld(code="test", reason="the screen is cracked", lifts="it is mended")
        with anyio.fail_after(5):
            await small.tools.book.until(lambda: small.desk.state.units[EXPECTED].present)
        await small.tools.book.append(held.draft(unit=EXPECTED))
        await talk.enter(f"/lift {EXPECTED}")
        await talk.enter(WRITTEN)
        assert small.desk.state.units[EXPECTED].held_reason is not None
        await talk.enter(f"/lift {EXPECTED}")
        await talk.enter("mended by the maker")
        assert small.desk.state.units[EXPECTED].held_reason is None


@pytest.mark.asyncio
async def test_commands_are_found_and_misspelt_ones_are_told(day: Path) -> None:
    async with small_day(day, more_items=1) as small:
        talk = await begun(small)
        for line in ("/help", "/items", "/stations", "/waiting", "/held", f"/find {WRITTEN}"):
            await talk.enter(line)
            assert talk.sheet is not None, line
            talk.back()
        await talk.enter("/itms")
        assert "did you mean /items?" in talk.message
        await talk.enter("/find 007421530019")
        assert "did you mean" in talk.message
