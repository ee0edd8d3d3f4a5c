"""A day without trouble, in one process."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchday.domain.errors import InputError
from benchday.domain.kinds import DayClosed
from benchday.domain.steps import State
from tests.bench.shop import INES, Shop

pytestmark = pytest.mark.asyncio
ROVER, OTHER, BASE = "007421530018", "007421530104", "WS-41-00342"


async def test_a_unit_goes_through_the_day(shop: Shop) -> None:
    shop.only(ROVER)
    shop.units[ROVER].recordings = {"A.rnx": b"x" * 100}
    day = await shop.whole_day()
    story = day.unit(ROVER)
    assert day.why == "finished"
    assert (story.state, story.had, story.has, story.writes) == (State.HANDED_BACK, "2.9", "2.10", ["2.10"])
    assert len(shop.kept.files) == 1
    unit = shop.units[ROVER]
    assert [what for what, _ in unit.reaches] == ["write", "restart"]
    assert unit.opened == 0


async def test_the_same_unit_comes_again_on_another_day_and_a_closed_day_is_not_run_again(shop: Shop) -> None:
    shop.only(ROVER)
    await shop.whole_day()
    async with shop.opened() as tools:
        closed = DayClosed(overnight=[], packs_off_chargers=True, cables_counted=[], words="")
        await tools.book.append(closed.draft(operator=INES))
    with pytest.raises(InputError, match="is closed already"):
        async with shop.opened():
            pass
    hours = shop.plan.hours.model_copy(update={"date": "2026-09-15"})
    shop.plan = replace(shop.plan, day=shop.plan.day.model_copy(update={"hours": (hours,)}))
    async with shop.opened() as tools:
        assert tools.book.state.closed is None
        assert tools.book.state.units[ROVER].state is State.EXPECTED
        assert tools.book.state.units[ROVER].writes == []
    assert len(shop.entries("unit_expected", ROVER)) == 2
