"""Whatever has happened on the bench, what is left of the day can be compiled and run to its end."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from benchday.domain.errors import TransferCut
from benchday.domain.fold import DayState
from benchday.domain.plan_says import plan_of
from benchday.domain.steps import State
from benchday.planning import engine, laws
from benchday.planning.before_day import before_day
from benchday.planning.forecast.modelling import Compiled, Known, model_before
from benchday.planning.forecast.so_far import model_now
from tests.bench.shop import Shop

pytestmark = pytest.mark.asyncio
ROVER, OTHER, BASE, THIRD = "007421530018", "007421530104", "WS-41-00342", "007421530508"
OSIER, HAND = "OS8812-0417", "TL7730A"
DONE = (State.READY, State.HANDED_BACK)


def drawn(compiled: Compiled, source: random.Random) -> list[list[float]]:
    """Draw one day."""
    return [[laws.draw(stage.law, source) for stage in unit.stages] for unit in compiled.model.units]


def moments(shop: Shop, known: Known) -> Iterator[tuple[DayState, Compiled]]:
    """Yield the day after each of its entries, with what is left of it."""
    state = DayState()
    for entry in shop.journal.read():
        state.apply(entry)
        if state.begun is not None and len(state.units) == len(shop.plan.roster):
            yield state, model_now(plan_of(state.inputs), state, entry.at_us, known)


def known_of(shop: Shop) -> Known:
    """Know the targets as before the day."""
    return Known({target.unit: target for target in before_day(shop.plan).found})


async def all_can_be_run(shop: Shop) -> None:
    """Run what is left of the day after each entry, and look whether all is accounted for."""
    source, known = random.Random(3), known_of(shop)
    begins = True
    for state, rest in moments(shop, known):
        if begins:
            assert rest.model == model_before(plan_of(state.inputs), known).model
            begins = False
        day = engine.run(rest.model, drawn(rest, source))
        assert day.makespan < 600
        told = {unit.id for unit in rest.model.units} | {out.serial for out in rest.left_out}
        done = {serial for serial, story in state.units.items() if story.state in DONE}
        assert told | done == set(state.units)
    assert rest.model.units == ()


async def test_a_plain_day(shop: Shop) -> None:
    shop.only(ROVER, OTHER, BASE, THIRD, OSIER, HAND)
    shop.units[ROVER].recordings = {"A.rnx": b"x" * 100}
    await shop.whole_day()
    await all_can_be_run(shop)


async def test_a_day_with_a_write_cut_short_a_stopped_line_and_a_low_battery(shop: Shop) -> None:
    shop.only(ROVER, OTHER, BASE, THIRD, OSIER, HAND)
    shop.units[ROVER].befalls["write"] = [TransferCut("the line vanished while the image was sent", 200)]
    shop.units[BASE].charge_percent = 12
    await shop.whole_day()
    assert shop.entries("line_stopped")
    await all_can_be_run(shop)


async def test_a_failed_verify(shop: Shop) -> None:
    shop.only(ROVER, OTHER, THIRD)
    shop.units[ROVER].releases = dict.fromkeys(shop.units[ROVER].releases, "2.9")
    day = await shop.whole_day()
    assert day.unit(ROVER).state in (State.HELD, State.HANDED_BACK)
    await all_can_be_run(shop)


async def test_one_station_and_nobody_comes(shop: Shop) -> None:
    shop.bench(stations=1, operators=1)
    shop.only(ROVER, OTHER, BASE)
    shop.people.answers[f"check in {OTHER}"] = {"here": "absent"}
    await shop.whole_day()
    await all_can_be_run(shop)
