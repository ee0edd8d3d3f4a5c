"""What is asked when a unit does not answer: by the cable's name, its connector, and the server in between."""

from __future__ import annotations

import pytest

from benchday.bench.silence import LEAVE_ON, SWITCH, heard, questions
from benchday.domain.bench import BenchFile, Cable
from benchday.domain.errors import DeviceError, Garbled, LinkSilent, TransferCut
from benchday.domain.playbook import Playbook
from benchday.domain.telling.log import about, tell
from tests.bench.fake_unit import SILENT
from tests.bench.shop import Shop

UNIT = "007421530018"


def playbook(shop: Shop, model: str) -> Playbook:
    """Return the playbook of a model."""
    found = shop.plan.playbook_for(model)
    assert found is not None
    return found


def bench_with(shop: Shop, port: str | None) -> BenchFile:
    """Return the bench with cable R1 at a port."""
    return shop.plan.bench.model_copy(update={"cables": (Cable(connector="round", number="R1", port=port),)})


@pytest.mark.parametrize("port", [None, "/dev/ttyUSB0", "usb-path:1-1"])
def test_type_seating_and_power_in_that_order(shop: Shop, port: str | None) -> None:
    assert questions(playbook(shop, "Millrace"), "R1", bench_with(shop, port)) == (
        "Is cable R1 of the right type, with a round connector? Is it seated at both ends? Is the unit on?"
    )


@pytest.mark.parametrize("scheme", ["socket", "rfc2217"])
def test_behind_a_server_it_is_asked_about_too(shop: Shop, scheme: str) -> None:
    asked = questions(playbook(shop, "Millrace"), "R1", bench_with(shop, f"{scheme}://192.0.2.7:4001"))
    assert asked.endswith("is that on, and in this network?")
    assert "Is the unit on? The cable is reached through the serial server at 192.0.2.7:4001: is that on" in asked


def test_without_a_cable(shop: Shop) -> None:
    bench = bench_with(shop, None)
    assert questions(playbook(shop, "Millrace"), None, bench).startswith("Is the cable of the right type, with a round")
    assert questions(playbook(shop, "Osier"), "W1", bench) == (
        "Is adapter W1 in the unit's own Wi-Fi network? Is the unit on?"
    )
    assert questions(playbook(shop, "Tiller"), None, bench) == "Is the unit on?"


@pytest.mark.asyncio
async def test_a_day_asks_about_the_server(shop: Shop) -> None:
    cables = tuple(
        c.model_copy(update={"port": f"rfc2217://192.0.2.7:400{n}"}) for n, c in enumerate(shop.plan.bench.cables)
    )
    shop.only(UNIT)
    shop.bench(cables=cables)
    shop.units[UNIT].befalls["open"] = [SILENT]
    await shop.whole_day()
    [asked] = [f["item"]["text"] for f in shop.facts("item_asked", UNIT) if f["item"]["topic"] == "silence"]
    assert "Is cable R1 of the right type" in asked
    assert "serial server at 192.0.2.7:4000: is that on" in asked
    # Which cable it was, is in the entries, and the unit's log says so in words.
    assert {"pool": "cable:round", "place": "R1"} in shop.facts("place_granted", UNIT)
    log = tell(about(shop.journal.read(), UNIT), lambda _: None, UNIT, simulated=False)
    assert ("joined by", "round cable R1") in log.head
    said = [line for chapter in log.chapters for line in chapter.lines]
    assert "gets round cable R1" in [line.text for line in said]
    assert {line.place for line in said if line.text.startswith("identify")} == {"R1"}


@pytest.mark.asyncio
async def test_switching_off_and_on_is_offered_only_where_nothing_is_being_written(shop: Shop) -> None:
    shop.only(UNIT)
    unit = shop.units[UNIT]
    unit.befalls["identify"] = [LinkSilent("no answer in 3 s: is the cable of the right type? seated? is the unit on?")]
    unit.befalls["write"] = [TransferCut("the line fell silent", 200)]
    shop.people.answers |= {"interrupted": None, "silence": None}
    async with shop.running() as day:
        asked = await day.item("silence", UNIT)
        assert "no answer in 3 s. Is cable R1 of the right type" in asked.item.text
        assert asked.item.text.count("seated") == 1
        assert "?." not in asked.item.text
        assert SWITCH in asked.item.text
        await day.answer("silence", UNIT)
        await day.item("interrupted", UNIT)
        unit.befalls["identify"] = [SILENT]
        await day.answer("interrupted", UNIT, answer="identify anew")
        asked = await day.item("silence", UNIT)
        assert SWITCH not in asked.item.text
        assert SWITCH not in (day.unit(UNIT).held_reason or "")
        assert LEAVE_ON in asked.item.text


@pytest.mark.parametrize(
    ("trouble", "told"),
    [
        (LinkSilent("nobody answers at https://192.0.2.1: is the unit on, and is this PC in it?"),
         "nobody answers at https://192.0.2.1. Look."),
        (LinkSilent("nothing came within 3 s"), "nothing came within 3 s. Look."),
        (Garbled("what came cannot be read: are rate and parity right?"),
         "what came cannot be read: are rate and parity right? Look."),
    ],
)  # fmt: skip
def test_questions_stand_once(trouble: DeviceError, told: str) -> None:
    assert heard(trouble, "Look.") == told
