"""The forecast of a day that runs: what is shown, what is recorded once, what a decision costs before it is made."""

from __future__ import annotations

import io
from collections.abc import AsyncIterator, Iterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest
import structlog

from benchday.bench.apart import in_processes
from benchday.bench.foreseeing import Foreseer, Pace
from benchday.domain.errors import InputError
from benchday.domain.playbook import StepName
from benchday.domain.steps import State
from benchday.logs import set_up
from benchday.planning.forecast.learnt import known_from
from benchday.planning.laws import Law
from tests.bench.shop import INES, MINUTE_US, OpenDay, Shop

pytestmark = pytest.mark.asyncio
FIRST, SECOND, THIRD = "007421530018", "WS-41-00342", "007421530104"
SMALL = Pace(replications=40, every_s=0.0, evaluations=12, draws=8)


@asynccontextmanager
async def foreseen(shop: Shop) -> AsyncIterator[tuple[OpenDay, Foreseer]]:
    """Run a day and give what foresees it; a test says when it looks."""
    async with shop.running() as day:
        foreseer = Foreseer(day.tools, known_from(shop.journal.read(), 1), SMALL)
        day.tools.foreseer = foreseer
        yield day, foreseer


async def test_the_day_is_foreseen_from_where_it_stands(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    shop.people.answers |= {"confirm": None}
    async with foreseen(shop) as (day, foreseer):
        await day.item("confirm", FIRST)
        await day.item("confirm", SECOND)
        await foreseer.look()
        outlook = day.desk.outlook
        assert outlook is not None
        assert outlook.at_us == shop.clock.now()
        assert outlook.at_us < outlook.p50_us <= outlook.p80_us <= outlook.p95_us
        assert set(outlook.units_us) == {FIRST, SECOND}
        # The playbooks say 10 to 25 min for a write; both stand before it, side by side.
        assert 10 * MINUTE_US < outlook.p50_us - outlook.at_us < 60 * MINUTE_US
        (avocet,) = outlook.crews
        assert (avocet.title, set(avocet.units)) == ("crew Avocet", {FIRST, SECOND})


async def test_what_is_done_is_not_foreseen_any_more(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    shop.people.answers |= {f"confirm {SECOND}": None, "hand back": None}
    async with foreseen(shop) as (day, foreseer):
        await day.until_state(FIRST, State.READY)
        await foreseer.look()
        outlook = day.desk.outlook
        assert outlook is not None
        assert set(outlook.units_us) == {SECOND}


async def test_an_order_is_recorded_once_for_those_that_wait(shop: Shop) -> None:
    shop.only(FIRST, SECOND, THIRD)
    shop.bench(stations=1)
    shop.people.answers |= {"confirm": None}
    async with foreseen(shop) as (day, foreseer):
        await day.item("confirm")
        await foreseer.look()
        await foreseer.look()
        orders = shop.entries("order_set")
        assert len(orders) <= 1
        for entry in orders:
            waiting = {u for u in (FIRST, SECOND, THIRD) if day.unit(u).state is State.WAITING}
            assert set(entry.facts["order"]) == waiting
            assert entry.facts["end_us"] <= entry.facts["first_come_end_us"]


async def test_a_promise_that_cannot_hold_is_told_once(shop: Shop) -> None:
    shop.only(FIRST, promised="08:05")
    shop.people.answers |= {"confirm": None, "promise": None}
    async with foreseen(shop) as (day, foreseer):
        await day.item("confirm", FIRST)
        await foreseer.look()
        asked = await day.item("promise crew Avocet")
        assert "The promise to crew Avocet, 08:05, is at risk: it holds in 0 of 100 drawn days" in asked.item.text
        await day.answer("promise crew Avocet")
        await foreseer.look()
        await day.settled()
        assert day.items("promise crew Avocet") == []
    (told,) = shop.facts("promise_at_risk")
    assert (told["crew"], told["units"], told["holds_permille"]) == ("crew Avocet", [FIRST], 0)


async def test_what_it_costs_to_put_a_unit_first_is_shown_before_it_is_decided(shop: Shop) -> None:
    shop.only(FIRST, SECOND, THIRD)
    shop.bench(stations=1)
    shop.people.answers |= {"confirm": None, "next": None}
    async with foreseen(shop) as (day, _):
        served = (await day.item("confirm")).item.unit
        waiting = [u for u in (FIRST, SECOND, THIRD) if u != served]
        last = waiting[-1]
        with pytest.raises(InputError, match="does not wait for anything"):
            await day.desk.put_next(served or "")
        await day.desk.put_next(last)
        asked = await day.item("next", last)
        assert "in 80 of 100 drawn days" in asked.item.text
        with pytest.raises(InputError, match="a reason stands in the log"):
            await day.answer("next", last, answer="put it first")
        await day.answer("next", last, answer="put it first", reason="the crew has to catch a tide")
        await day.until(lambda: bool(shop.entries("unit_put_first")))
        assert day.state.turn(last) < min(day.state.turn(u) for u in waiting if u != last)
        await day.answer("confirm", served, answer="write", label=served)
        await day.until(lambda: day.unit(last).station is not None)
        assert all(day.unit(u).station is None for u in waiting if u != last)
    (put,) = shop.entries("unit_put_first")
    assert (put.unit, put.operator, put.facts["reason"]) == (last, INES, "the crew has to catch a tide")


async def test_an_early_wish_of_a_crew_says_what_can_be_finished(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    shop.people.answers |= {"confirm": None, "wanted": None, "back": None, "choice": None, f"check in {SECOND}": None}
    async with foreseen(shop) as (day, _):
        await day.item("confirm", FIRST)
        await day.desk.want_back("Avocet")
        await day.answer("wanted back Avocet", by="08:45")
        told = await day.item("back by Avocet")
        assert told.item.text.startswith("The set of crew Avocet is wanted back by 08:45.")
        assert f"- {FIRST} can be finished: ready about 08:" in told.item.text
        assert f"- {SECOND}" in told.item.text
    assert {e.unit for e in shop.entries("wanted_back")} == {FIRST, SECOND}


async def test_what_a_walk_in_does_to_the_day_is_shown_before_it_is_accepted(shop: Shop) -> None:
    shop.only(FIRST, SECOND)
    shop.bench(stations=1)
    shop.people.answers |= {"confirm": None, "walk-in": None}
    async with foreseen(shop) as (day, _):
        await day.item("confirm")
        await day.desk.scan("007421549999")
        asked = await day.item("walk-in 007421549999")
        (line,) = [x for x in asked.item.text.splitlines() if x.startswith("- accepted as a Millrace: the day ends ")]
        minutes = int(line.split("the day ends ")[1].split(" min later")[0])
        assert 15 < minutes < 60, f"one more service on the one station, {line}"


async def test_nothing_is_foreseen_before_the_first_look_and_nothing_breaks_without(shop: Shop) -> None:
    shop.only(FIRST)
    async with shop.running() as day:
        assert day.desk.outlook is None
        await day.until_state(FIRST, State.HANDED_BACK)


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    out = io.StringIO()
    set_up(stream=out)
    yield out
    structlog.reset_defaults()


async def test_a_forecast_that_goes_wrong_stops_nothing(shop: Shop, log: io.StringIO) -> None:
    """Units are being written meanwhile."""
    shop.only(FIRST)

    def wrong(*_: object) -> Mapping[StepName, Law]:
        raise ZeroDivisionError("no such law")

    async with shop.running() as day:
        foreseer = Foreseer(day.tools, replace(known_from(shop.journal.read(), 1), laws=wrong), SMALL)
        day.tools.foreseer = foreseer
        await foreseer.look()
        assert day.desk.outlook is None
        await day.until_state(FIRST, State.HANDED_BACK)
    assert '"event": "not foreseen"' in log.getvalue()
    assert "ZeroDivisionError" in log.getvalue()


async def test_sums_are_done_in_a_process_of_their_own(shop: Shop, log: io.StringIO) -> None:
    """What is handed over can be handed over, and comes back the same as if it had been done here."""
    shop.only(FIRST, SECOND)
    shop.people.answers |= {"confirm": None}
    async with foreseen(shop) as (day, foreseer), in_processes() as apart:
        await day.item("confirm", FIRST)
        await day.item("confirm", SECOND)
        here = await foreseer.with_changes()
        there = Foreseer(day.tools, known_from(shop.journal.read(), 1), SMALL, apart)
        assert here is not None
        assert await there.with_changes() == here
        await there.look()
        assert there.outlook is not None
        assert "not foreseen" not in log.getvalue()
