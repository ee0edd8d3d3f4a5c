"""What a write erases is what was shown when it was confirmed, and not more."""

from __future__ import annotations

import pytest

from benchday.domain.errors import Refused
from benchday.domain.steps import State
from tests.bench.shop import INES
from tests.safety.conftest import Stock

UNIT = "007421530018"


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("name", "data"),
    [("B.rnx", b"another"), ("A.rnx", b"other bytes".ljust(50)), ("A.rnx", b"a" * 80)],
    ids=["another", "others under the same name", "grown"],
)
async def test_a_recording_made_while_the_confirmation_is_open_is_copied_first(
    stock: Stock, name: str, data: bytes
) -> None:
    """The confirmation that did not show it is worth nothing; it is copied, and the write is confirmed anew."""
    shop = stock.shop()
    shop.only(UNIT, crew="")
    shop.people.answers["confirm"] = None
    recordings = shop.units[UNIT].recordings
    recordings["A.rnx"] = b"a" * 50
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        recordings[name] = data
        await day.answer("confirm", UNIT, who=INES, answer="write", label=UNIT)
        await day.until(lambda: shop.entries("permit_voided", UNIT) != [])
        assert "were not shown" in shop.facts("permit_voided", UNIT)[0]["reason"]
        await day.answer("confirm", UNIT, who=INES, answer="write", label=UNIT)
        await day.until_state(UNIT, State.READY, State.HANDED_BACK)
    assert shop.faults == []
    assert data in shop.kept.files.values()
    assert len(shop.begun) == 1


@pytest.mark.asyncio
async def test_a_recording_that_grew_after_its_owner_let_it_go_is_asked_about_anew(stock: Stock) -> None:
    """The owner spoke of the file as it was."""
    shop = stock.shop()
    shop.only(UNIT, crew="")
    shop.people.answers |= {"confirm": None, "recording": {"answer": "let go", "owner": "Ada", "how": "by telephone"}}
    shop.units[UNIT].recordings["A.rnx"] = b"a" * 50
    shop.units[UNIT].befalls["fetch"] = [Refused("missing", "cannot be read") for _ in range(3)]
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        assert len(shop.entries("recordings_let_go", UNIT)) == 1
        shop.units[UNIT].recordings["A.rnx"] = b"a" * 80
        await day.answer("confirm", UNIT, who=INES, answer="write", label=UNIT)
        await day.item("confirm", UNIT)
    assert b"a" * 80 in shop.kept.files.values()
    assert shop.begun == []


@pytest.mark.asyncio
async def test_a_recording_whose_digest_is_not_told_is_copied_anew_when_it_grew(stock: Stock) -> None:
    """Its size tells that the copy is of what was there before."""
    shop = stock.shop()
    shop.only(UNIT, crew="")
    shop.people.answers["confirm"] = None
    shop.tells_digests = False
    shop.units[UNIT].recordings["A.rnx"] = b"a" * 50
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        shop.units[UNIT].recordings["A.rnx"] = b"a" * 80
        await day.answer("confirm", UNIT, who=INES, answer="write", label=UNIT)
        await day.until(lambda: len(shop.entries("permit_voided", UNIT)) > 0)
        await day.answer("confirm", UNIT, who=INES, answer="write", label=UNIT)
        await day.until_state(UNIT, State.READY, State.HANDED_BACK)
    assert shop.faults == []
    assert b"a" * 80 in shop.kept.files.values()
