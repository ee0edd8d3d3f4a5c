"""The rest of the day foreseen in two processes at once says the same as in one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TypeVar

import pytest

from benchday.bench import halves
from benchday.bench.apart import in_a_thread, in_processes
from benchday.bench.halves import outlook_apart
from benchday.planning.engine import DayCannotEnd
from benchday.planning.forecast.engines import replicate
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.outlook import outlook_of
from benchday.planning.laws import Fixed
from benchday.planning.model import Model, ModelUnit, Stage
from benchday.planning.policy import Phase, Pool
from tests.planning.forecast.usual import usual_day

pytestmark = pytest.mark.asyncio
T = TypeVar("T")


def rest_of_a_day(replications: int) -> Compiled:
    """Return a day of forty units as a running bench would have it worked out."""
    model = replace(usual_day(40, close=500.0), replications=replications)
    ids = tuple(unit.id for unit in model.units)
    return Compiled(model, 1_000_000, {"crew A": ids[:20], "crew B": ids[20:]}, promised_us=dict.fromkeys(ids, 10**10))


async def test_halves_say_what_the_whole_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """601 days: two halves of different size, cut in the middle of a block of draws."""
    compiled = rest_of_a_day(601)
    monkeypatch.setattr(halves, "WORTH_TWO", 1)
    async with in_processes() as apart:
        found = await outlook_apart(apart, compiled, 7)
    assert found == outlook_of(compiled, replicate(compiled.model, seed=7))


async def test_a_small_sum_is_done_at_one_go_and_a_large_one_in_two_halves() -> None:
    asked: list[object] = []

    async def apart(work: Callable[[], T], /) -> T:
        assert isinstance(work, partial)
        asked.append(work.func)
        return await in_a_thread(work)

    few, many = await outlook_apart(apart, rest_of_a_day(50), 1), await outlook_apart(apart, rest_of_a_day(400), 1)
    assert few.p50_us != many.p50_us
    assert len(asked) == 1 + 3


async def test_a_day_that_cannot_end_says_so_from_whichever_half(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(halves, "WORTH_TWO", 1)
    one = (Stage("connect", ("cable",), (), Fixed(1)), Stage("write", ("hand",), ("cable", "hand"), Fixed(1)))
    other = (Stage("connect", ("hand",), (), Fixed(1)), Stage("write", ("cable",), ("cable", "hand"), Fixed(1)))
    pools = (Pool("cable", 1, Phase.PLACES), Pool("hand", 1, Phase.PLACES))
    units = (ModelUnit("a", 0.0, 0.0, one), ModelUnit("b", 0.0, 0.0, other))
    model = Model(pools, units, replications=4)
    async with in_processes() as apart:
        with pytest.raises(DayCannotEnd, match="cable"):
            await outlook_apart(apart, Compiled(model, 0, {}), 1)
