"""A day without trouble, in one process."""

from __future__ import annotations

import pytest

from benchday.domain.steps import State
from tests.bench.shop import Shop

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
