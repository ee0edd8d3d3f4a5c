"""Whatever operators, faults, time and restarts do: no write without an act spent for it, and no act twice."""

from __future__ import annotations

import anyio
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.bench.shop import Shop
from tests.safety.conftest import Stock
from tests.safety.deeds import FAULTS, Deed, Doing, settled
from tests.safety.watched import WatchedShop

SERIALS = ("007421530018", "007421530104")
"""Two of one model and target, so that the first is verified before the second is begun."""
RESTART = Deed("restart", 0)

_PLAIN = ("not now", "lift line", "lift", "void", "scan", "swap", "stand still", "go on", "use old")
_HOW = ("right", "right", "right", "whole", "wrong", "other", "nothing", "helper", "pipe")
_units = st.integers(0, 1)
_confirms = st.builds(Deed, st.just("confirm"), _units, st.sampled_from(_HOW))
_deeds = st.one_of(
    _confirms,
    _confirms,
    st.builds(Deed, st.just("decide"), _units, st.sampled_from(("identify anew", "leave held"))),
    st.builds(Deed, st.sampled_from(_PLAIN), _units),
    st.builds(Deed, st.just("edit"), _units, st.sampled_from("abc")),
    st.builds(Deed, st.just("befall"), _units, st.sampled_from(sorted(FAULTS))),
    st.builds(Deed, st.just("record"), _units, st.sampled_from(("X.rnx", "Y.rnx"))),
    st.builds(Deed, st.just("pass"), _units, st.sampled_from(("1", "9", "11", "60"))),
    st.just(RESTART),
)


async def happens(stock: Stock, deeds: list[Deed]) -> WatchedShop:
    """Do the deeds one after another, on a bench that is started again wherever it says restart."""
    shop = stock.shop()
    shop.only(*SERIALS, crew="")
    for serial in SERIALS:
        shop.units[serial].recordings = {"A.rnx": serial.encode() * 9}
    doing = Doing(shop, SERIALS)
    waiting = list(deeds)
    while True:
        async with Shop.running(shop) as day:
            doing.day = day
            await settled()
            doing.check()
            while waiting and waiting[0] != RESTART:
                await doing.do(waiting.pop(0))
        doing.check()
        if not waiting:
            return shop
        waiting.pop(0)


@given(deeds=st.lists(_deeds, min_size=4, max_size=30))
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_write_without_an_act_spent_for_it(stock: Stock, deeds: list[Deed]) -> None:
    """The units themselves judge each write as it reaches them."""
    anyio.run(happens, stock, deeds)


def test_the_deeds_lead_to_writes(stock: Stock) -> None:
    """The test above is no empty one: these few deeds lead through writes, a cut, a restart and another permit."""
    confirm, other = Deed("confirm", 0, "right"), Deed("confirm", 1, "right")
    deeds = [
        Deed("befall", 0, "write"), confirm, other, Deed("lift line", 0), Deed("decide", 0, "identify anew"), confirm,
        RESTART, Deed("use old", 0), other, confirm, Deed("lift line", 0), other,
    ]  # fmt: skip
    shop = anyio.run(happens, stock, deeds)
    assert len(shop.begun) >= 3
    assert {u.release for u in shop.units.values() if u.serial in SERIALS} == {"2.10"}
    assert len(shop.facts("act_refused")) >= 1
