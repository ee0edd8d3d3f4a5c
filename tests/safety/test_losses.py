"""What a write erases is what was shown when it was confirmed, and not more."""

from __future__ import annotations

import pytest

from benchday.domain.steps import State
from tests.bench.shop import INES
from tests.safety.conftest import Stock

UNIT = "007421530018"


@pytest.mark.asyncio
@pytest.mark.parametrize("made", ["another recording", "more in the same one"])
async def test_a_recording_made_while_the_confirmation_is_open_is_copied_first(stock: Stock, made: str) -> None:
    """The confirmation that did not show it is worth nothing; it is copied, and the write is confirmed anew."""
    shop = stock.shop()
    shop.only(UNIT, crew="")
    shop.people.answers["confirm"] = None
    recordings = shop.units[UNIT].recordings
    recordings["A.rnx"] = b"a" * 50
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        recordings["B.rnx" if made == "another recording" else "A.rnx"] = b"b" * 50
        await day.answer("confirm", UNIT, who=INES, answer="write", label=UNIT)
        await day.until(lambda: shop.entries("permit_voided", UNIT) != [])
        assert "were not shown" in shop.facts("permit_voided", UNIT)[0]["reason"]
        await day.answer("confirm", UNIT, who=INES, answer="write", label=UNIT)
        await day.until_state(UNIT, State.READY, State.HANDED_BACK)
    assert shop.faults == []
    assert b"b" * 50 in shop.archive.files.values()
    assert len(shop.begun) == 1
