"""What a driver has to say of how it came to a unit stands in the unit's log."""

from __future__ import annotations

import pytest

from tests.bench.shop import Shop

pytestmark = pytest.mark.asyncio
UNIT = "007421530018"
REMARK = "the password that this kind of unit is delivered with opens its page"


async def test_a_remark_is_a_finding_that_stops_nothing(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].remarks = (REMARK,)
    day = await shop.whole_day()
    found = [f for facts in shop.facts("checked", UNIT) for f in facts["findings"] if f["check"] == "sign-in"]
    assert found
    assert {(f["answer"], f["text"]) for f in found} == {("clear", f"caution: {REMARK}")}
    assert day.unit(UNIT).writes == ["2.10"]
