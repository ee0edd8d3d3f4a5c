"""A battery that nobody knows well enough, and one that falls between the looks at it."""

from __future__ import annotations

from typing import Any

import pytest

from benchday.domain.steps import State
from tests.bench.shop import Shop
from tests.bench.test_closing_and_power import no_pack_no_outlet

pytestmark = pytest.mark.asyncio
UNIT = "007421530018"


def asked(shop: Shop, topic: str) -> list[dict[str, Any]]:
    """Return the items on a topic that were asked about the unit."""
    return [f["item"] for f in shop.facts("item_asked", UNIT) if f["item"]["topic"] == topic]


def power_answers(shop: Shop) -> list[str]:
    """Return what the checks said of power, in order."""
    findings = [f for facts in shop.facts("checked", UNIT) for f in facts["findings"]]
    return [f["answer"] for f in findings if f["check"] == "power"]


async def test_what_is_not_known_is_cleared_by_external_power_and_never_waved_through(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].max_error_percent = None
    day = await shop.whole_day()
    assert power_answers(shop)[:2] == ["ask", "clear"]
    assert [f["remedy"] for f in shop.facts("remedied", UNIT)] == ["external power"]
    assert asked(shop, "findings") == []
    assert day.unit(UNIT).writes == ["2.10"]


async def test_a_shop_pack_of_known_charge_clears_what_the_gauge_does_not_tell(shop: Shop) -> None:
    shop.only(UNIT)
    no_pack_no_outlet(shop, pack_swap=True)
    shop.units[UNIT].max_error_percent = None
    day = await shop.whole_day()
    assert [f["pack"] for f in shop.facts("remedied", UNIT)] == ["P1"]
    assert day.unit(UNIT).pack == "P1"
    assert day.unit(UNIT).writes == ["2.10"]
    last = next(f for f in shop.facts("checked", UNIT)[-1]["findings"] if f["check"] == "power")
    assert (last["figures"]["charge_percent"], last["figures"]["error_percent"]) == (95, 5)


async def test_what_a_person_measures_clears_it(shop: Shop) -> None:
    shop.only(UNIT)
    no_pack_no_outlet(shop)
    unit = shop.units[UNIT]
    unit.max_error_percent = unit.temperature_dk = None
    shop.people.answers["measure"] = {"error_percent": 7, "temperature_c": 20}
    day = await shop.whole_day()
    text, *more = [i["text"] for i in asked(shop, "measure")]
    assert more == []
    assert "measure now, before the write: how far the charge may be off, battery temperature" in text
    assert "Leave empty what cannot be measured." in text
    last = next(f for f in shop.facts("checked", UNIT)[-1]["findings"] if f["check"] == "power")
    assert (last["figures"]["error_percent"], last["figures"]["temperature_dk"]) == (7, 2932)
    assert day.unit(UNIT).writes == ["2.10"]


async def test_where_nobody_can_measure_it_the_unit_is_held_until_it_is_known(shop: Shop) -> None:
    shop.only(UNIT)
    no_pack_no_outlet(shop)
    shop.units[UNIT].temperature_dk = None
    day = await shop.whole_day()
    assert (day.unit(UNIT).state, day.unit(UNIT).held_code) == (State.HELD, "power")
    assert day.unit(UNIT).held_lifts == "what is missing is known"
    assert len(asked(shop, "measure")) == 1
    assert shop.units[UNIT].reaches == []


async def test_whoever_confirms_reads_that_the_battery_bridges_no_unplugging(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].charge_percent, shop.units[UNIT].external = 5, True
    await shop.whole_day()
    (confirmed,) = asked(shop, "confirm")
    assert "CAUTION external power is confirmed, but its battery could not bridge an unplugging" in confirmed["text"]


async def test_a_full_battery_beside_external_power_needs_no_such_line(shop: Shop) -> None:
    shop.only(UNIT)
    shop.units[UNIT].external = True
    await shop.whole_day()
    assert "unplugging" not in asked(shop, "confirm")[0]["text"]


async def test_a_battery_that_drains_while_recordings_are_copied_is_not_written_on(shop: Shop) -> None:
    """The check before preserve saw enough; what counts is what is left afterwards."""
    shop.only(UNIT)
    no_pack_no_outlet(shop)
    unit = shop.units[UNIT]
    unit.recordings = {"A.rnx": b"a" * 100}
    unit.happens["fetch"] = lambda: setattr(unit, "charge_percent", 20)
    shop.people.answers["charged"] = None
    async with shop.running() as day, day.time_passing():
        await day.until_state(UNIT, State.CHARGING)
    assert power_answers(shop)[0] == "clear"
    assert power_answers(shop)[-1] == "stop"
    assert asked(shop, "confirm") == []
    assert unit.reaches == []


@pytest.mark.parametrize("changed", [{"charge_percent": 20}, {"external": False}])
async def test_the_battery_is_read_again_once_it_is_confirmed(shop: Shop, changed: dict[str, Any]) -> None:
    """A minute in which the charge fell, or somebody pulled the plug: the permit is voided, and nothing is written."""
    shop.only(UNIT)
    unit = shop.units[UNIT]
    if "external" in changed:
        unit.charge_percent, unit.external = 5, True
    no_pack_no_outlet(shop, external="external" in changed)
    shop.people.answers |= {"confirm": None, "external power": None}
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        for name, value in changed.items():
            setattr(unit, name, value)
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        await day.until(lambda: bool(shop.entries("permit_voided", UNIT)))
        await day.settled()
    assert "the battery was read again: too little charge" in shop.facts("permit_voided", UNIT)[0]["reason"]
    assert shop.entries("act_spent") == []
    assert unit.reaches == []


async def test_a_unit_that_answers_slowly_takes_longer_on_the_line(shop: Shop) -> None:
    """7 MB of recordings are 6,836 blocks and the image is one, each 49 ms later, whatever the playbook's minutes."""
    rest_us = []
    for took_us in (1_000, 10**6):
        day = Shop(shop.plan, shop.store.files)
        day.only(UNIT)
        unit = day.units[UNIT]
        unit.recordings = {"A.rnx": b"a" * 7_000_000}
        unit.happens["power"] = lambda clock=day.clock, us=took_us: clock.advance(us)  # type: ignore[misc]
        day.people.answers["confirm"] = None
        async with day.running() as opened:
            await opened.item("confirm", UNIT)
        closing = next(f for f in day.facts("checked", UNIT)[0]["findings"] if f["check"] == "closing")
        rest_us.append(closing["figures"]["rest_us"])
    assert rest_us[1] - rest_us[0] == pytest.approx(6_837 * 49_000, abs=1)
