"""The operators' queue: who may answer, whose answer counts, what is withdrawn, what a restart takes up again."""

from __future__ import annotations

from typing import Any

import anyio
import pytest

from benchday.bench.queue import Withdrawn
from benchday.domain.errors import AlreadyRecorded, InputError
from benchday.domain.items import Answered, Item, ItemKind, Wanted, WantedKind
from benchday.domain.units import Ability
from tests.bench.shop import INES, MINUTE_US, TOBIAS, Shop

pytestmark = pytest.mark.asyncio
COUNT = Wanted("count", "how many", WantedKind.INTEGER, unit="packs", lowest=0, highest=40)


def item(topic: str = "shelf", **changes: Any) -> Item:
    """Return an item that wants a number."""
    given = {"id": "", "kind": ItemKind.EVIDENCE, "topic": topic, "text": "Look at the shelf.", "wanted": (COUNT,)}
    return Item(**{**given, **changes})


class Asked:
    """Something that is asked in a task beside the test."""

    def __init__(self) -> None:
        self.answers: list[Answered | str] = []

    async def ask(self, tools: Any, asked: Item, verdict: Any = None) -> None:
        """Ask, and keep what comes of it."""
        try:
            self.answers.append(await tools.queue.ask(asked, verdict))
        except Withdrawn as withdrawn:
            self.answers.append(str(withdrawn))


async def test_the_first_answer_wins_and_later_ones_are_told_who_gave_it(shop: Shop) -> None:
    asked = Asked()
    async with shop.opened() as tools, anyio.create_task_group() as tasks:
        tasks.start_soon(asked.ask, tools, item())
        await anyio.wait_all_tasks_blocked()
        outcomes: list[object] = []

        async def answer(who: str, count: int) -> None:
            try:
                await tools.queue.answer("1", {"count": count}, who, "person")
                outcomes.append("won")
            except (AlreadyRecorded, InputError) as late:
                outcomes.append(late)

        tasks.start_soon(answer, INES, 3)
        tasks.start_soon(answer, TOBIAS, 4)
        await anyio.wait_all_tasks_blocked()
        assert outcomes.count("won") == 1
        assert len(outcomes) == 2
        with pytest.raises(InputError, match=f"{INES} has answered item 1 already"):
            await tools.queue.answer("1", {"count": 5}, TOBIAS, "person")
    assert [a.value for a in asked.answers if isinstance(a, Answered)] == [{"count": 3}]
    assert len(shop.entries("item_answered")) == 1


async def test_an_item_is_taken_so_that_two_do_not_do_it_twice(shop: Shop) -> None:
    async with shop.opened() as tools, anyio.create_task_group() as tasks:
        tasks.start_soon(Asked().ask, tools, item())
        await anyio.wait_all_tasks_blocked()
        await tools.queue.take("1", TOBIAS)
        await tools.queue.take("1", TOBIAS)
        with pytest.raises(InputError, match=f"{TOBIAS} has taken item 1"):
            await tools.queue.take("1", INES)
        # Whoever took it may be called away: another's answer still counts.
        await tools.queue.answer("1", {"count": 1}, INES, "person")
        with pytest.raises(InputError, match="answered item 1 already"):
            await tools.queue.take("1", TOBIAS)
    assert len(shop.entries("item_taken")) == 1


async def test_only_who_may_answers(shop: Shop) -> None:
    async with shop.opened() as tools, anyio.create_task_group() as tasks:
        tasks.start_soon(Asked().ask, tools, item(ability=Ability.CONFIRM))
        await anyio.wait_all_tasks_blocked()
        for who, told in (
            (TOBIAS, f"{TOBIAS} may not confirm"),
            ("Maren", "Maren is not an operator of this bench; operators: Ines Halloran, Tobias Wren"),
            ("", "nobody is not an operator"),
        ):
            with pytest.raises(InputError, match=told):
                await tools.queue.answer("1", {"count": 1}, who, "person")
            with pytest.raises(InputError, match=told):
                await tools.queue.take("1", who)
        assert tools.book.state.items["1"].open
        await tools.queue.answer("1", {"count": 1}, INES, "person")


@pytest.mark.parametrize(
    ("value", "told"),
    [
        ({}, "how many: a value is needed"),
        ({"count": "3"}, "expected a whole number of packs, got '3'"),
        ({"count": 41}, "expected 0 to 40 packs, got 41"),
        ({"count": True}, "expected a whole number"),
        ({"count": 3, "sort": "large"}, "sort was not asked for"),
    ],
)
async def test_an_answer_that_is_not_what_is_wanted_changes_nothing(
    shop: Shop, value: dict[str, object], told: str
) -> None:
    async with shop.opened() as tools, anyio.create_task_group() as tasks:
        tasks.start_soon(Asked().ask, tools, item())
        await anyio.wait_all_tasks_blocked()
        before = len(shop.journal.read())
        with pytest.raises(InputError, match=told):
            await tools.queue.answer("1", value, INES, "person")
        assert len(shop.journal.read()) == before
        assert tools.book.state.items["1"].open
        tasks.cancel_scope.cancel()


async def test_an_item_expires(shop: Shop) -> None:
    asked = Asked()
    async with shop.opened() as tools, anyio.create_task_group() as tasks:
        tasks.start_soon(asked.ask, tools, item(expires_us=shop.clock.now() + 10 * MINUTE_US))
        await anyio.wait_all_tasks_blocked()
        shop.clock.advance(10 * MINUTE_US - 1)
        await anyio.wait_all_tasks_blocked()
        assert asked.answers == []
        shop.clock.advance(1)
        await anyio.wait_all_tasks_blocked()
        assert asked.answers == ["it expired"]
        with pytest.raises(InputError, match="item 1 was withdrawn: it expired"):
            await tools.queue.answer("1", {"count": 1}, INES, "person")


async def test_a_withdrawn_item_is_told_and_an_answered_one_stays_answered(shop: Shop) -> None:
    asked = Asked()
    async with shop.opened() as tools, anyio.create_task_group() as tasks:
        for topic in ("shelf", "drawer"):
            tasks.start_soon(asked.ask, tools, item(topic))
        await anyio.wait_all_tasks_blocked()
        await tools.queue.answer("1", {"count": 1}, INES, "person")
        for number in ("1", "2"):
            await tools.queue.void(number, "no longer needed")
        await anyio.wait_all_tasks_blocked()
    assert asked.answers[1] == "no longer needed"
    assert isinstance(asked.answers[0], Answered)
    assert [f["id"] for f in shop.facts("item_voided")] == ["2"]


async def test_what_there_is_no_item_for(shop: Shop) -> None:
    async with shop.opened() as tools:
        with pytest.raises(InputError, match="there is no item 7"):
            await tools.queue.answer("7", {}, INES, "person")


async def test_safety_comes_first_then_who_asked_first(shop: Shop) -> None:
    async with shop.opened() as tools, anyio.create_task_group() as tasks:
        for topic, safety in (("one", False), ("two", False), ("packs", True)):
            tasks.start_soon(Asked().ask, tools, item(topic, safety=safety))
            await anyio.wait_all_tasks_blocked()
            shop.clock.advance(MINUTE_US)
        assert [i.item.topic for i in tools.queue.ordered()] == ["packs", "one", "two"]
        tasks.cancel_scope.cancel()


async def test_a_restart_takes_open_items_up_and_answers_reach_who_asks_again(shop: Shop) -> None:
    for _ in range(3):
        async with shop.opened() as tools, anyio.create_task_group() as tasks:
            tasks.start_soon(Asked().ask, tools, item())
            await anyio.wait_all_tasks_blocked()
            tasks.cancel_scope.cancel()
    assert len(shop.entries("item_asked")) == 1
    asked = Asked()
    async with shop.opened() as tools, anyio.create_task_group() as tasks:
        tasks.start_soon(asked.ask, tools, item())
        await anyio.wait_all_tasks_blocked()
        await tools.queue.answer("1", {"count": 9}, TOBIAS, "person")
    assert [a.value for a in asked.answers if isinstance(a, Answered)] == [{"count": 9}]


async def test_numbers_are_never_given_twice(shop: Shop) -> None:
    for number in ("1", "2"):
        async with shop.opened() as tools, anyio.create_task_group() as tasks:
            tasks.start_soon(Asked().ask, tools, item(f"shelf {number}"))
            await anyio.wait_all_tasks_blocked()
            await tools.queue.answer(number, {"count": 1}, INES, "person")
    assert [f["item"]["id"] for f in shop.facts("item_asked")] == ["1", "2"]


async def test_a_confirmation_is_never_taken_up_again(shop: Shop) -> None:
    unit = "007421530018"
    shop.only(unit)
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        first = (await day.item("confirm", unit)).item.id
    async with shop.running() as day:
        await day.until(lambda: not day.state.items[first].open)
        second = (await day.item("confirm", unit)).item.id
        assert second != first
        with pytest.raises(InputError, match=f"item {first} was withdrawn: the program was started again"):
            await day.desk.answer(first, {"answer": "write", "label": unit[-4:]}, INES, "person")
    assert shop.units[unit].reaches == []


async def test_a_persons_own_words_are_kept_beside_the_chain(shop: Shop) -> None:
    asked = Asked()
    words = Wanted("words", "anything to note", required=False, personal=True)
    async with shop.opened() as tools, anyio.create_task_group() as tasks:
        tasks.start_soon(asked.ask, tools, item(wanted=(words,)))
        await anyio.wait_all_tasks_blocked()
        await tools.queue.answer("1", {"words": "Maren said the tilt was off"}, INES, "person")
    (answered,) = [a for a in asked.answers if isinstance(a, Answered)]
    assert await shop.beside.look_up(answered.text("words")) == "Maren said the tilt was off"
    assert not [e for e in shop.journal.read() if b"Maren" in e.body]
