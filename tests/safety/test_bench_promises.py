"""What the bench promises about permits, one promise a test; each is broken on purpose in test_bench_mutants."""

from __future__ import annotations

from contextlib import suppress

import anyio
import pytest

from benchday.domain.errors import InputError, TransferCut
from benchday.domain.readings import Mode
from benchday.domain.steps import State
from tests.bench.shop import TOBIAS, OpenDay
from tests.safety.conftest import Stock
from tests.safety.deeds import settled
from tests.safety.watched import WatchedShop

pytestmark = pytest.mark.asyncio
FIRST, SECOND = "007421530018", "007421530104"


@pytest.fixture
def shop(stock: Stock) -> WatchedShop:
    """Give a shop that expects two units of one model; nobody confirms by themselves."""
    shop = stock.shop()
    shop.only(FIRST, SECOND, crew="")
    shop.people.answers |= {"confirm": None, "interrupted": None, "line": None}
    return shop


async def confirm(day: OpenDay, unit: str) -> None:
    """Read the label off and confirm."""
    await day.answer("confirm", unit, answer="write", label=unit)


async def test_intent_write_and_end_stand_in_order(shop: WatchedShop) -> None:
    """The act is spent before the write reaches the unit, and its end is told."""
    async with shop.running() as day:
        await confirm(day, FIRST)
        await confirm(day, SECOND)
        await day.until_state(SECOND, State.READY, State.HANDED_BACK)
    assert shop.faults == []
    assert len(shop.begun) == 2
    for unit in (FIRST, SECOND):
        kinds = [e.kind for e in shop.journal.read() if e.unit == unit and e.kind.startswith(("act_", "permit_"))]
        assert kinds == ["permit_given", "act_spent", "act_ended"]


async def test_a_write_that_was_cut_is_held_by_whoever_starts_next(shop: WatchedShop) -> None:
    """Killed half way: the unit is held as interrupted, and nothing reaches it before a person decides and confirms."""
    async with shop.running() as day:
        await _half_way(shop, day)
    assert len(shop.begun) == 1
    shop.units[FIRST].half_way = None
    async with shop.running() as day:
        await settled()
        assert day.unit(FIRST).held_code == "interrupted"
        assert ("Millrace", "2.10") in day.state.lines_stopped
        assert len(shop.begun) == 1
        await day.answer("interrupted", FIRST, answer="identify anew")
        await settled()
        assert len(shop.begun) == 1
        await _lift_line(day)
        await confirm(day, FIRST)
        await day.until_state(FIRST, State.READY, State.HANDED_BACK)
    assert shop.faults == []
    assert len(set(shop.begun)) == 2


async def test_a_confirmation_from_before_a_restart_is_withdrawn(shop: WatchedShop) -> None:
    """It is asked anew under another number; the old one takes no answer."""
    async with shop.running() as day:
        old = (await day.item("confirm", FIRST)).item.id
    async with shop.running() as day:
        await settled()
        fresh = await day.item("confirm", FIRST)
        assert fresh.item.id != old
        assert [i.item.id for i in day.items("confirm", FIRST)] == [fresh.item.id]
        with pytest.raises(InputError, match="withdrawn"):
            await day.desk.answer(old, {"answer": "write", "label": FIRST}, "Ines Halloran", "person")


@pytest.mark.parametrize("label", ["0000", SECOND, FIRST[:8], ""])
async def test_only_the_units_own_label_confirms(shop: WatchedShop, label: str) -> None:
    """Whatever else is typed is refused, and no permit comes of it."""
    async with shop.running() as day:
        with pytest.raises(InputError):
            await day.answer("confirm", FIRST, answer="write", label=label)
        await settled()
        assert shop.entries("permit_given") == []
        assert shop.begun == []


async def test_only_who_may_confirm_confirms(shop: WatchedShop) -> None:
    """A helper's confirmation is none."""
    async with shop.running() as day:
        await day.item("confirm", FIRST)
        with suppress(InputError):
            await day.answer("confirm", FIRST, who=TOBIAS, answer="write", label=FIRST)
        await settled()
        assert shop.begun == []


async def test_a_copy_that_is_not_what_the_unit_says_is_none(shop: WatchedShop) -> None:
    """Its digest differs: the owner is asked, and no write is offered."""
    shop.units[FIRST].recordings["A.rnx"] = b"a" * 50
    shop.spoils.add("A.rnx")
    shop.people.answers["recording"] = None
    async with shop.running() as day:
        await day.item("recording A.rnx", FIRST)
        assert shop.entries("recording_preserved") == []
        assert not day.items("confirm", FIRST)


async def test_the_first_of_its_kind_is_verified_before_a_second_is_begun(shop: WatchedShop) -> None:
    """While it is half written no other is offered for confirmation."""
    async with shop.running() as day:
        await _half_way(shop, day)
        await settled()
        assert not day.items("confirm", SECOND)
        day.go_on_writing(FIRST)
        await confirm(day, SECOND)
        await day.until_state(SECOND, State.READY, State.HANDED_BACK)
    assert shop.faults == []


async def test_a_stopped_line_offers_no_write(shop: WatchedShop) -> None:
    """Neither the unit that was cut nor the next is offered until the line is lifted."""
    shop.units[FIRST].befalls["write"] = [TransferCut("the line vanished", 100)]
    async with shop.running() as day:
        await confirm(day, FIRST)
        await day.answer("interrupted", FIRST, answer="identify anew")
        await settled()
        assert not day.items("confirm")
        assert day.unit(FIRST).state is State.CONFIRM
        await _lift_line(day)
        await confirm(day, FIRST)
        await day.until_state(FIRST, State.READY, State.HANDED_BACK)
    assert shop.faults == []


async def test_a_unit_swapped_after_the_confirmation_is_not_written(shop: WatchedShop) -> None:
    """What the unit says right before the act is spent counts."""
    async with shop.running() as day:
        await day.item("confirm", FIRST)
        shop.units[FIRST].serial = "999999999999"
        await confirm(day, FIRST)
        await day.until_state(FIRST, State.HELD)
    assert shop.begun == []
    assert shop.faults == []


async def test_after_a_cut_options_are_compared_with_what_the_unit_itself_told(shop: WatchedShop) -> None:
    """A boot loader tells no options; that is no difference."""
    shop.units[FIRST].befalls["write"] = [TransferCut("the line vanished", 100)]
    async with shop.running() as day:
        await confirm(day, FIRST)
        await day.answer("interrupted", FIRST, answer="identify anew")
        await day.until(lambda: (day.unit(FIRST).identity or {}).get("mode") == Mode.BOOT.value)
        await _lift_line(day)
        await confirm(day, FIRST)
        await day.until_state(FIRST, State.READY, State.HANDED_BACK)
    assert shop.entries("verify_failed") == []


async def test_a_restart_at_the_last_look_goes_on_with_it(shop: WatchedShop) -> None:
    """The unit has given its cable back by then, and nothing more is asked of it."""
    shop.people.answers["last look"] = None
    async with shop.running() as day:
        await confirm(day, FIRST)
        await day.item("last look", FIRST)
        assert set(day.unit(FIRST).places) == {"station"}
    async with shop.running() as day:
        await settled()
        assert day.unit(FIRST).state is State.LAST_LOOK
        await day.answer("last look", FIRST)
        await day.until_state(FIRST, State.READY, State.HANDED_BACK)


async def _half_way(shop: WatchedShop, day: OpenDay) -> None:
    """Confirm the first unit and let its write stand still half way."""
    shop.units[FIRST].half_way = anyio.Event()
    await confirm(day, FIRST)
    await day.begun_writing(FIRST)


async def _lift_line(day: OpenDay) -> None:
    asked = next(i for i in day.desk.items() if i.item.topic.startswith("line "))
    await day.desk.answer(asked.item.id, {"answer": "lift", "reason": "looked into"}, "Ines Halloran", "person")
