"""The image list edited while a day runs: a newer one is taken over and recorded, an older one never."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchday.bench.editing import Edit
from benchday.domain.plan import DayPlan, ImageSignatures
from benchday.inputs.changes import differences
from tests.bench.shop import INES, Shop

pytestmark = pytest.mark.asyncio
UNIT = "007421530018"


def with_list(plan: DayPlan, sequence: int, sha256: str, **changed: object) -> DayPlan:
    """Return the plan with another list."""
    images = plan.images.model_copy(update={"sequence": sequence, **changed})
    return replace(plan, images=images, digests={**plan.digests, "images/images.yaml": sha256})


async def after_edit(shop: Shop, edited: DayPlan) -> tuple[str, list[tuple[int, list[str]]]]:
    """Begin with list 3, edit, answer what is asked; return its text, and the lists that were accepted."""
    shop.only(UNIT)
    shop.plan = with_list(shop.plan, 3, "aa" * 32)
    shop.people.answers |= {f"check in {UNIT}": None, "inputs": None}
    offered = [Edit(edited, differences(shop.plan, edited) or ("the same in other words",))]

    async def look(in_force: DayPlan) -> Edit | None:
        if offered:
            return offered.pop()
        await shop.clock.wait_until(1 << 62)
        return None

    shop.look = look
    async with shop.running() as day:
        asked = await day.item("inputs")
        if asked.item.wanted:
            await day.answer("inputs", answer="accept")
        await day.settled()
        in_force = day.tools.plan.images.sequence
    lists = [(f["sequence"], f["signed_by"]) for f in shop.facts("images_accepted")]
    assert lists[-1][0] == in_force
    return asked.item.text, lists


async def test_a_newer_list_is_taken_over_and_recorded(shop: Shop) -> None:
    edited = replace(with_list(shop.plan, 4, "bb" * 32), signatures=ImageSignatures((INES,), 1))
    text, lists = await after_edit(shop, edited)
    assert text.startswith("The day's files were edited. Open permits that rest on them are voided if you accept.")
    assert lists == [(3, []), (4, [INES])]


@pytest.mark.parametrize(
    ("sequence", "sha256", "told"),
    [(2, "bb" * 32, "expected at least 3"), (3, "bb" * 32, "3 again with the digest bbbbbbbbbbbb")],
)
async def test_an_older_list_is_told_as_a_mistake(shop: Shop, sequence: int, sha256: str, told: str) -> None:
    text, lists = await after_edit(shop, with_list(shop.plan, sequence, sha256))
    assert text.startswith("The day's files were edited and hold mistakes; the day goes on with what was read before.")
    assert told in text
    assert lists == [(3, [])]


async def test_an_edit_of_something_else_records_no_list(shop: Shop) -> None:
    edited = with_list(shop.plan, 3, "aa" * 32)
    policy = edited.day.policy.model_copy(update={"permit_minutes": 7})
    edited = replace(edited, day=edited.day.model_copy(update={"policy": policy}))
    _, lists = await after_edit(shop, edited)
    assert lists == [(3, [])]
