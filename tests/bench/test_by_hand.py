"""A unit without any line is served like any other: the same findings, permit, timing and log."""

from __future__ import annotations

import hashlib
import os
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from benchday.bench.foreseeing import Foreseer, Pace
from benchday.cli import day_view
from benchday.domain.by_hand import Evidence, HandCapability, HandWork, Photo
from benchday.domain.errors import InputError
from benchday.domain.playbook import StepName
from benchday.domain.steps import State
from benchday.domain.telling.log import tell
from benchday.domain.units import Role
from benchday.planning.forecast.learnt import known_from
from benchday.planning.forecast.present import present
from benchday.record.attached import LARGEST_BYTES, keep_file
from tests.bench.fake_unit import FakeUnit
from tests.bench.hands import HandShop
from tests.bench.shop import INES, MINUTE_US, Shop

pytestmark = pytest.mark.asyncio
UNIT, RECEIVER = "TL7730A", "007421530018"


@pytest.fixture
def shop(shop: Shop, tmp_path: Path) -> HandShop:
    """A shop that serves one unit by hand, with two recordings on it."""
    hands = HandShop(shop.plan, shop.store.files)
    hands.only(UNIT)
    hands.units[UNIT].release = "2.2"
    hands.units[UNIT].recordings = {"a.rnx": b"abc", "b.rnx": b"defg"}
    card = tmp_path / "card"
    card.mkdir()
    hands.by_hand(card)
    return hands


def asks(shop: HandShop, capability: HandCapability, **work: Any) -> None:
    """Have the playbook of the unit say what a person does."""
    book = next(b for b in shop.plan.playbooks if "Tiller" in b.models)
    changed = book.model_copy(update={"by_hand": {**book.by_hand, capability: HandWork(**work)}})
    shop.plan = shop.with_playbooks(tuple(changed if b is book else b for b in shop.plan.playbooks))


async def test_by_hand_from_check_in_to_hand_back(shop: HandShop) -> None:
    async with shop.running() as day:
        await day.until_state(UNIT, State.HANDED_BACK)
    story = day.unit(UNIT)
    assert (story.state, story.has, story.writes, story.permits) == (State.HANDED_BACK, "2.3", ["2.3"], 1)
    assert {r["sha256"] for r in story.preserved.values()} == {hashlib.sha256(d).hexdigest() for d in (b"abc", b"defg")}
    checks = {f["check"] for f in shop.facts("checked", UNIT)[-1]["findings"]}
    assert {"identity", "model", "image", "power", "recordings", "support term", "route", "closing"} <= checks
    assert {f["by"] for f in shop.facts("unit_identified", UNIT)} == {"hand"}
    ended = {f["step"]: f["took_us"] for f in shop.facts("step_ended", UNIT)}
    assert set(ended) == {s.value for s in StepName}, "every step has its time, as of any other unit"


async def test_nobody_is_told_to_begin_before_there_is_a_permit(shop: HandShop) -> None:
    shop.people.answers["confirm"] = None
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        await day.settled()
        assert not day.items("hand:write")
        shop.people.answers["hand:write"] = None
        await day.answer("confirm", UNIT, answer="write", label=UNIT[-4:])
        asked = await day.item("hand:write", UNIT)
        spent, (told,) = shop.entries("act_spent", UNIT), [
            e for e in shop.entries("item_asked", UNIT) if e.facts["item"]["topic"] == "hand:write"
        ]  # fmt: skip
        assert [e.seq < told.seq for e in spent] == [True]
        assert asked.item.figures["image_sha256"] == spent[0].facts["digest"]


async def test_who_does_not_begin_leaves_the_unit_as_it_was(shop: HandShop) -> None:
    shop.people.answers["hand:write"] = {"begun": False}
    async with shop.running() as day:
        await day.until_state(UNIT, State.HELD)
        assert day.unit(UNIT).held_code == "refused"
        assert shop.units[UNIT].reaches == []
        assert [f["outcome"] for f in shop.facts("act_ended", UNIT)] == ["refused"]


async def test_killed_while_somebody_is_told_to_begin_nobody_is_told_so_any_more(shop: HandShop) -> None:
    """Who comes back to the bench after that reads that the unit may be half written, and not that a write is due."""
    shop.people.answers |= {"hand:write": None, "interrupted": None, "line": None}
    async with shop.running() as day:
        told = (await day.item("hand:write", UNIT)).item
    async with shop.running() as day:
        await day.item("interrupted", UNIT)
        assert [i.item.topic for i in day.desk.items() if i.item.unit == UNIT] == ["interrupted"]
        with pytest.raises(InputError, match="was withdrawn: the program ended while the unit was being written"):
            await day.desk.answer(told.id, {"begun": True}, INES, "person")
    assert shop.units[UNIT].reaches == []


async def test_while_it_writes_the_step_runs_is_timed_and_foreseen(shop: HandShop) -> None:
    begin = shop.in_hand
    shop.people.answers["hand:write"] = lambda desk, asked: (
        begin(desk, asked) if asked.item.wanted[0].name == "begun" else None
    )
    async with shop.running() as day:
        await day.until(lambda: any(i.item.wanted[0].name == "outcome" for i in day.items("hand:write")))
        await day.settled()
        story = day.unit(UNIT)
        assert story.state is State.WRITE
        assert story.step_expected_us == 18 * MINUTE_US
        foreseer = Foreseer(day.tools, known_from(shop.journal.read(), 1), Pace(200, 0.0, 8, 8))
        left = []
        for minutes in (0, 10, 10):
            shop.clock.advance(minutes * MINUTE_US)
            await foreseer.look()
            assert foreseer.outlook is not None
            left.append((foreseer.outlook.p50_us - shop.clock.now()) / MINUTE_US)
        (station,) = [
            s for s in day_view.stations(day.state, day.tools.plan.bench, day.desk.ticks, day.desk.now()) if s.unit
        ]
        assert station.runs == "20 of about 18 min"
        # 12, 18, 28 minutes by the playbook: after ten about eight are left; after twenty not none, but what is left of
        # those that take longer than twenty.
        assert 7 < left[0] - left[1] < 11
        assert 4 < left[1] - left[2] < 8
        here = present(
            day.tools.plan, day.state, story, None, shop.clock.now(), priority=0.0, resting=False  # type: ignore[arg-type]
        )  # fmt: skip
        assert (here.begin, here.elapsed) == (StepName.WRITE, 20.0)
        shop.units[UNIT].end_write(shop.image_of(day.items("hand:write")[0]))
        await day.answer("hand:write", UNIT, outcome="whole")
        await day.until_state(UNIT, State.HANDED_BACK)
    (took,) = [f["took_us"] for f in shop.facts("step_ended", UNIT) if f["step"] == "write"]
    assert took == 20 * MINUTE_US


async def test_what_a_person_saw_fail_is_held_as_interrupted(shop: HandShop) -> None:
    shop.people.answers["hand:write"] = {"begun": True, "outcome": "failed"}
    shop.people.answers["interrupted"] = {"answer": "leave held"}
    async with shop.running() as day:
        await day.until_state(UNIT, State.HELD)
        assert day.unit(UNIT).held_code == "interrupted"
        assert shop.facts("line_stopped")


async def test_verify_asks_for_the_new_version(shop: HandShop) -> None:
    """The unit says that it still runs the old release, whatever was said of the write."""
    shop.people.answers["hand:restart"] = {"up": True}
    shop.people.answers["hand:write"] = {"begun": True, "outcome": "whole"}
    async with shop.running() as day:
        await day.until_state(UNIT, State.HELD)
        assert "the release is 2.2, expected 2.3" in (day.unit(UNIT).held_reason or "")


async def test_a_slip_of_the_keyboard_is_put_right_and_another_unit_is_held(shop: HandShop) -> None:
    shop.people.answers["hand:identify"] = None
    async with shop.running() as day:
        good = {k: v for k, v in shop.shown(shop.units[UNIT]).items() if k in ("model", "hardware", "mode", "release")}
        await day.answer("hand:identify", UNIT, serial="TL7703A", **good)
        again = await day.item("hand:identify", UNIT)
        assert "'TL7703A' was typed, 'TL7730A' was checked in" in again.item.text
        assert shop.entries("unit_identified", UNIT) == []
        await day.answer("hand:identify", UNIT, serial="TL7703A", **good)
        await day.until_state(UNIT, State.HELD)
        assert day.unit(UNIT).held_code == "identity"
    assert shop.facts("unit_identified", UNIT)[0]["serial"] == "TL7703A"
    assert shop.units[UNIT].reaches == []


async def test_the_playbooks_own_words_and_what_it_takes_for_plausible(shop: HandShop) -> None:
    asks(
        shop, HandCapability.IDENTIFY, text="Press MENU, INFO.",
        wanted={"serial": Evidence(pattern="TL[0-9]{4}[A-Z]"), "release": Evidence(pattern=r"[0-9]\.[0-9]")},
    )  # fmt: skip
    asks(shop, HandCapability.POWER, wanted={"charge_percent": Evidence(lowest=10, needed=True)})
    shop.people.answers |= {"hand:identify": None, "hand:power": None}
    async with shop.running() as day:
        asked = await day.item("hand:identify", UNIT)
        assert "by hand: Press MENU, INFO." in asked.item.text
        # A serial of another form may be a slip, or another unit: it is asked for once more, never refused for good.
        await day.answer("hand:identify", UNIT, serial="7730A", model="Tiller", mode="run", release="2.2")
        again = await day.item("hand:identify", UNIT)
        assert "'7730A' was typed, 'TL7730A' was checked in" in again.item.text
        with pytest.raises(InputError, match="Release: '22' is not in the expected form"):
            await day.answer("hand:identify", UNIT, serial=UNIT, model="Tiller", mode="run", release="22")
        await day.answer("hand:identify", UNIT, serial=UNIT, model="Tiller", hardware="E", mode="run", release="2.2")
        with pytest.raises(InputError, match="Charge: expected 10 to 100 %, got 3"):
            await day.answer("hand:power", UNIT, charge_percent=3, external=False)
        assert day.items("hand:power"), "it is still open"


async def test_a_charged_pack_of_the_shop_stands_for_a_reading(shop: HandShop) -> None:
    shop.packs = {p.number: p.charge_percent for p in shop.plan.bench.packs if "Tiller" in p.fits}
    assert shop.packs, "the sample day has a pack that fits"
    number, charge = next(iter(shop.packs.items()))
    shop.people.answers |= {"hand:power": None, "confirm": None}
    async with shop.running() as day:
        await day.answer("hand:power", UNIT, external=False)
        again = await day.item("hand:power", UNIT)
        assert "read it off the unit, or name the charged pack" in again.item.text
        await day.answer("hand:power", UNIT, external=False, pack="P99")
        again = await day.item("hand:power", UNIT)
        assert "the bench has no charged pack P99 for this model" in again.item.text
        await day.answer("hand:power", UNIT, external=False, pack=number, temperature_c=20)
        await day.until(lambda: bool(shop.entries("power_read", UNIT)))
        assert shop.facts("power_read", UNIT)[0]["charge_percent"] == charge
        assert day.state.packs_used == {number}
        assert day.unit(UNIT).pack == number


async def test_a_photo_goes_into_the_archive_and_the_log_names_its_digest(shop: HandShop, tmp_path: Path) -> None:
    asks(shop, HandCapability.IDENTIFY, photo=Photo.NEEDED)
    shop.people.answers["hand:identify"] = None
    photo = tmp_path / "display.jpg"
    photo.write_bytes(b"\xff\xd8 a display")
    digest = hashlib.sha256(photo.read_bytes()).hexdigest()
    said = {"serial": UNIT, "model": "Tiller", "hardware": "E", "mode": "run", "release": "2.2"}
    async with shop.running() as day:
        day.tools.queue._keep_file = partial(keep_file, shop.archive)
        await day.item("hand:identify", UNIT)
        with pytest.raises(InputError, match="Path of a photo of it on the bench PC: a value is needed"):
            await day.answer("hand:identify", UNIT, **said)
        with pytest.raises(InputError, match="No such file"):
            await day.answer("hand:identify", UNIT, **said, photo=str(tmp_path / "none.jpg"))
        await day.answer("hand:identify", UNIT, **said, photo=str(photo))
        assert await shop.archive.holds(digest)
    (entry,) = [e for e in shop.entries("item_answered", UNIT) if "photo" in e.facts["value"]]
    assert entry.facts["value"]["photo"] == digest
    assert str(tmp_path) not in str(shop.journal.read())
    log = tell(shop.journal.read(), lambda _: None, UNIT, simulated=False)
    assert digest in str(log)


async def test_what_is_no_file_is_not_attached(shop: HandShop, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "empty").touch()
    with (tmp_path / "large").open("wb") as large:
        large.truncate(LARGEST_BYTES + 1)
    for name, why in {
        "pipe": "no file", "": "no file", "empty": "is empty", "large": "too large", "none": "No such file",
        "nul\0": "cannot be read", "~nobody-of-that-name/x": "cannot be read",
    }.items():  # fmt: skip
        path = name if name.startswith("~") else str(tmp_path / name)
        with pytest.raises(InputError, match=why):
            await keep_file(shop.archive, path)


async def test_identified_over_the_cable_and_written_by_hand(shop: HandShop, tmp_path: Path) -> None:
    mixed = HandShop(replace(shop.plan, roster=_rows(shop)), shop.store.files)
    mixed.by_hand(tmp_path, RECEIVER)
    mixed.people.answers |= {"hand:position": {"fix": "single", "satellites": 9}}
    async with mixed.running() as day:
        await day.until_state(RECEIVER, State.HANDED_BACK)
    assert (day.unit(RECEIVER).has, day.unit(RECEIVER).permits) == ("2.10", 1)
    assert {f["by"] for f in mixed.facts("unit_identified", RECEIVER)} == {"driver"}
    topics = {i.item.topic for i in day.state.items.values()}
    assert "hand:write" in topics
    assert "hand:identify" not in topics
    assert mixed.units[RECEIVER].calls.count("identify") >= 3, "before, right before the act is spent, and after"


def _rows(shop: HandShop) -> tuple[Any, ...]:
    row = shop.plan.roster[0]
    return (replace(row, serial=RECEIVER, model="Millrace", role=Role.ROVER, support_until="2027-04-30"),)


async def test_what_was_counted_and_is_gone_stops_until_its_owner_decides(shop: HandShop) -> None:
    """Two were counted, none could be copied, none is counted afterwards: nothing is written over that."""
    shop.plan = replace(shop.plan, roster=(*shop.plan.roster, *_rows(shop)))
    shop.somebody_is_awaited(RECEIVER)
    shop.people.answers["recordings gone"] = None
    count = iter([2])
    shop.people.answers["hand:recordings"] = lambda _, asked: (
        {"done": True} if asked.item.wanted[0].name == "done" else {"count": next(count, 0)}
    )
    shop.units[UNIT].recordings = {}
    async with shop.running() as day:
        first = await day.item("recordings gone", UNIT)
        assert "2 recordings counted on the unit could not be copied off it" in first.item.text
        assert "would erase" not in first.item.text
        await day.answer("recordings gone", UNIT, answer="list again")
        await day.until(lambda: bool(day.items("recordings gone")) and day.items("recordings gone")[0] is not first)
        assert shop.facts("recordings_listed", UNIT)[-1] == {"recordings": [], "unlisted": 2}
        await day.answer("recordings gone", UNIT, answer="hold")
        await day.until(lambda: day.unit(UNIT).station is None)
        assert day.unit(UNIT).held_code == "recordings"
        assert "their owner lets them go" in (day.unit(UNIT).held_lifts or "")
        assert shop.units[UNIT].reaches == []
        await day.desk.lift(UNIT, "it was looked for", INES)
        await day.answer("recordings gone", UNIT, answer="let go", owner="Maren Oakhurst", how="by telephone")
        await day.until_state(UNIT, State.READY)
    (let_go,) = shop.facts("recordings_let_go", UNIT)
    assert (let_go["recordings"], let_go["unlisted"]) == ([], 2)


async def test_a_count_outlives_the_program_that_asked_for_it(shop: HandShop) -> None:
    """It was killed between the count and the copy; meanwhile the recordings are gone."""
    shop.people.answers["hand:fetch"] = None
    async with shop.running() as day:
        await day.item("hand:fetch", UNIT)
    shop.units[UNIT].recordings = {}
    async with shop.running() as day:
        await day.until_state(UNIT, State.HELD)
    assert "2 recordings counted on the unit" in (day.unit(UNIT).held_reason or "")
    assert shop.units[UNIT].reaches == []


async def test_a_slip_in_counting_is_taken_back(shop: HandShop) -> None:
    count = iter([3, *[0] * 9])
    shop.people.answers |= {
        "hand:recordings": lambda _, asked: (
            {"done": True} if asked.item.wanted[0].name == "done" else {"count": next(count) or 2}
        ),
        "recordings gone": {"answer": "miscounted"},
    }
    async with shop.running() as day:
        await day.until_state(UNIT, State.HANDED_BACK)
    assert [f["unlisted"] for f in shop.facts("recordings_listed", UNIT)] == [1, 0, 0]
    assert set(day.unit(UNIT).preserved) == {"a.rnx", "b.rnx"}


async def test_a_term_or_option_left_empty_after_the_write_is_asked_about(shop: HandShop) -> None:
    shop.units[UNIT].term = "2027-04-30"
    shown = shop.shown

    def forgets(unit: FakeUnit) -> dict[str, Any]:
        left_out = {"term": None, "options": None} if unit.release == "2.3" else {}
        return shown(unit) | left_out

    shop.shown = forgets  # type: ignore[method-assign]
    shop.people.answers["changed"] = None
    async with shop.running() as day:
        asked = await day.item("changed", UNIT)
        assert "its support term was left empty; before the write it ended on 2027-04-30" in asked.item.text
        assert "installed options are left empty, before dual, radio" in asked.item.text
        await day.answer("changed", UNIT, answer="accept", reason="read off again, both are there")
        await day.until_state(UNIT, State.HANDED_BACK)
