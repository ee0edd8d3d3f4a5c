"""What the program supports of published rules for updating devices safely, one rule a test, each at a real edge.

Sources: RFC 9124 (requirements and manifest elements, read), RFC 9019 (read), The Update Framework 1.0.34 (TUF, read);
NIST SP 800-147 and SP 800-193 and IEC 62443-4-2 from secondary copies, numbers marked "mem" from memory. The program
is a tool of a bench: it supports these rules and claims to comply with nothing.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchday.bench.serving import Tools
from benchday.domain.bench import Pin
from benchday.domain.errors import InputError, MistakesFound, PermitRefused, TransferCut
from benchday.domain.kinds import PermitGiven
from benchday.domain.permits import Act, ConfirmedBy, Permit, Reading, Verb, use_act
from benchday.domain.plan import DayPlan
from benchday.domain.releases import Image
from benchday.domain.steps import State
from benchday.inputs.day import load_day, read_day
from benchday.inputs.image_adding import NewImage, add_image
from benchday.inputs.sample import write_sample
from tests.bench.shop import INES, TOBIAS, OpenDay, Shop
from tests.inputs.conftest import small_image
from tests.inputs.signing import bench_knows, sign
from tests.safety.conftest import Stock

UNIT, BASE = "007421530018", "WS-41-00342"
FILE = "millrace-2.10.fen"
LIST = "images/images.yaml"


@pytest.fixture
def shop(stock: Stock) -> Shop:
    """Give a shop that expects one rover, on 2.9, and nobody who confirms by themselves."""
    shop = stock.shop()
    shop.only(UNIT, crew="")
    shop.people.answers |= {"confirm": None, "interrupted": None, "line": None}
    return shop


@pytest.fixture
def day(tmp_path: Path) -> Path:
    """Give a day's folder."""
    write_sample(tmp_path / "day", 7, build_image=small_image)
    return tmp_path / "day"


def spoil(path: Path, old: str, new: str) -> None:
    """Put one text in place of another, once."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def listed(shop: Shop, file: str = FILE) -> Image:
    """Return an image's entry."""
    return next(i for i in shop.plan.images.images if i.file == file)


def with_images(plan: DayPlan, change: Callable[[Image], Image | None]) -> DayPlan:
    """Return the plan with some images changed or left out."""
    images = tuple(i for i in map(change, plan.images.images) if i is not None)
    return replace(plan, images=plan.images.model_copy(update={"images": images}))


async def held(shop: Shop) -> tuple[str, str]:
    """Run until the unit is held; return code and reason, and see that no permit was given and nothing sent."""
    async with shop.running() as day:
        await day.until_state(UNIT, State.HELD)
        story = day.unit(UNIT)
    assert shop.entries("permit_given") == []
    assert shop.units[UNIT].reaches == []
    return story.held_code or "", story.held_reason or ""


async def confirmed(day: OpenDay) -> None:
    """Read the label off and confirm."""
    await day.answer("confirm", UNIT, answer="write", label=UNIT)


async def a_permit(tools: Tools, digest: str) -> Permit:
    """Give a permit for a write of that digest, as the desk does once an operator has confirmed."""
    clock = tools.book.clock
    permit = Permit(
        UNIT, "Millrace", "B", (Act(Verb.WRITE_IMAGE, digest, 500, "2.10"),), (), "ab" * 32, INES,
        ConfirmedBy.PERSON, "S1", clock.now(), clock.monotonic() + 60_000_000, secrets.token_hex(16),
    )  # fmt: skip
    given = PermitGiven(permit=permit.as_facts(), id=permit.id, shown="Write")
    await tools.book.append(given.draft(unit=UNIT, station="S1", operator=INES))
    return permit


@pytest.mark.asyncio
async def test_01_the_digest_is_checked_before_the_permit_and_again_on_the_bytes_sent(shop: Shop) -> None:
    """RFC 9124 3.13 and 4.3.4 AUTHENTIC; TUF 5.7 step 3; SP 800-147 3.1.1 (secondary, number mem)."""
    whole = shop.store.files[FILE]
    shop.store.files[FILE] = b"x" + whole[1:]
    assert (await held(shop))[0] == "image"

    right = listed(shop).sha256
    async with shop.opened() as tools:
        reading = Reading(UNIT, "Millrace", "B", Verb.WRITE_IMAGE, right, "ab" * 32)
        with pytest.raises(PermitRefused, match="the digest is 0000"):
            await tools.desk.spend(await a_permit(tools, right), replace(reading, digest="00" * 32))
        spent = await tools.desk.spend(await a_permit(tools, right), reading)
        with pytest.raises(PermitRefused, match="is for another"):
            use_act(spent, Verb.WRITE_IMAGE, hashlib.sha256(b"other bytes").hexdigest())


def test_02_enough_keys_have_signed_the_list_each_counted_once(day: Path) -> None:
    """RFC 9124 4.3.4 and 4.2.9; TUF 5.4.2; SP 800-193 4.2.1 (secondary)."""
    bench_knows(day, {INES: 1, TOBIAS: 2}, needed=2)
    sign(day, 1, INES)
    with pytest.raises(MistakesFound, match="signatures with 2 of the image_keys"):
        load_day(day)
    path = day / (LIST + ".signatures")
    once = path.read_text(encoding="utf-8")
    path.write_text(once + once.split("signatures:\n")[1].replace(INES, TOBIAS), encoding="utf-8")
    with pytest.raises(MistakesFound, match="each key once"):
        load_day(day)
    path.write_text(once, encoding="utf-8")
    sign(day, 2, TOBIAS)
    assert load_day(day).signatures.signed_by == (INES, TOBIAS)
    spoil(day / LIST, "2026-05-04", "2026-05-03")
    with pytest.raises(MistakesFound, match="does not fit"):
        load_day(day)


@pytest.mark.asyncio
@pytest.mark.parametrize("wrong", ["model", "hardware"])
async def test_03_an_image_for_another_device_is_refused(shop: Shop, wrong: str) -> None:
    """RFC 9124 4.3.2 COMPATIBLE, 4.3.10, 4.2.3; TUF 1.5.2 wrong software; IEC 62443-4-2 CR 3.5 (secondary).

    What the unit says of itself counts, not what it was checked in as.
    """
    if wrong == "model":
        shop.units[UNIT].model = "Millrace 2"
    else:
        shop.units[UNIT].hardware = "Z"
    code, reason = await held(shop)
    assert code in ("model", "image")
    assert ("Millrace 2" if wrong == "model" else "revision Z") in reason


@pytest.mark.asyncio
async def test_04_a_list_older_than_the_newest_seen_is_refused(shop: Shop) -> None:
    """RFC 9124 4.3.1 SEQUENCE, 4.2.1; TUF 5.4.3 and 5.5.5; SP 800-147 3.1.1 (secondary, number mem).

    The number is no release: a list with a lower number is refused even where its releases are newer.
    """

    def numbered(sequence: int, date: str, **changed: Any) -> DayPlan:
        hours = shop.plan.hours.model_copy(update={"date": date})
        images = shop.plan.images.model_copy(update={"sequence": sequence, **changed})
        return replace(shop.plan, images=images, day=shop.plan.day.model_copy(update={"hours": (hours,)}))

    newer = (*shop.plan.images.images, listed(shop).model_copy(update={"release": "9.0", "file": "millrace-9.0.fen"}))
    first, same, older = (
        numbered(5, "2026-06-16"), numbered(5, "2026-06-17"), numbered(4, "2026-06-18", images=newer),
    )  # fmt: skip
    for shop.plan in (first, same):
        async with shop.opened():
            pass
    shop.plan = older
    with pytest.raises(InputError, match="expected at least 5, the newest that this record has seen"):
        async with shop.opened():
            pass
    assert [f["date"] for f in shop.facts("day_begun")] == ["2026-06-16", "2026-06-17"]
    assert [f["sequence"] for f in shop.facts("images_accepted")] == [5, 5]


@pytest.mark.asyncio
@pytest.mark.parametrize("pinned", [False, True])
async def test_05_a_way_back_only_under_a_recorded_decision(shop: Shop, pinned: bool) -> None:
    """RFC 9124 4.3.1, note; SP 800-147 and SP 800-193 4.2.1.3 (secondary); IEC 62443-4-2 CR 2.1 (secondary)."""
    shop.units[UNIT].release = "2.10"
    shop.people.answers.pop("confirm")
    shop.people.answers["confirm"] = {"answer": "write", "label": UNIT}
    pin = Pin(unit=UNIT, release="2.9", reason="its crew stays on it", until="2030-12-31", decided_by=INES)
    shop.plan = replace(shop.plan, day=shop.plan.day.model_copy(update={"pins": (pin,) if pinned else ()}))
    if not pinned:
        # Nothing newer than 2.9 may be put on it; that alone sends it nowhere.
        old = {"issued": "2026-06-01"}
        shop.plan = with_images(shop.plan, lambda i: i.model_copy(update=old) if i.file == FILE else i)
        shop.only(UNIT, crew="", support_until="2026-05-01")
    day = await shop.whole_day()
    story = day.unit(UNIT)
    assert (story.state, story.writes) == (State.HANDED_BACK, ["2.9"] if pinned else [])
    assert any(f["back"] for f in shop.facts("target_set", UNIT)) == pinned
    if pinned:
        assert any("the pin of unit" in f["reason"] for f in shop.facts("target_set", UNIT))
        assert len(shop.entries("permit_given", UNIT)) == 1


@pytest.mark.parametrize("keys", [{}, {INES: 1}])
def test_06_an_expired_list_is_refused_at_a_time_fixed_when_the_day_starts(day: Path, keys: dict[str, int]) -> None:
    """RFC 9124 4.3.3 EXP, 4.2.2; TUF 5.1 and 5.4.4."""
    if keys:
        bench_knows(day, keys)
    spoil(day / LIST, "images:\n", 'expires: "2026-06-16"\nimages:\n')
    sign(day, 1, INES)
    load_day(day)  # its last day is the day's first date, which may be long past by the computer's clock
    spoil(day / LIST, 'expires: "2026-06-16"', 'expires: "2026-06-15"')
    sign(day, 1, INES)
    with pytest.raises(MistakesFound, match="the list has expired"):
        load_day(day)


@pytest.mark.asyncio
async def test_07_the_installed_release_must_be_one_from_which_the_new_one_is_entered(shop: Shop) -> None:
    """RFC 9124 3.5, 3.6, 4.3.9, 4.2.10 (precursor)."""
    shop.units[UNIT].release = "2.4"
    shop.plan = with_images(
        shop.plan, lambda i: None if i.models == ("Millrace",) and i.release in ("2.6", "2.9") else i
    )
    code, reason = await held(shop)
    assert code == "route"
    assert "2.4" in reason


@pytest.mark.asyncio
@pytest.mark.parametrize("spoilt", [lambda b: b + b"\0", lambda b: b[:-1]])
async def test_08_trailing_bytes_or_another_size_are_refused(shop: Shop, spoilt: Callable[[bytes], bytes]) -> None:
    """RFC 9124 4.3.15 COMPLETE_DIGEST, 4.2.15; TUF 5.7 length bound, 1.5.2 endless data."""
    shop.store.files[FILE] = spoilt(shop.store.files[FILE])
    code, reason = await held(shop)
    assert code == "image"
    assert f"{len(shop.store.files[FILE]):,} bytes" in reason


def test_08_so_are_they_when_the_day_is_read(day: Path) -> None:
    """The same, before the day begins."""
    with (day / "images" / FILE).open("ab") as file:
        file.write(b"\0")
    assert {m.file for m in read_day(day).mistakes} == {LIST}
    (day.parent / FILE).write_bytes(b"other")
    with pytest.raises(InputError, match="another file of that name"):
        add_image(day, NewImage(day.parent / FILE, "2.10", "2026-05-04", ("Millrace",), "anywhere", INES))


@pytest.mark.asyncio
async def test_09_nothing_changes_between_check_and_use(shop: Shop) -> None:
    """RFC 9124 4.3.21 CONST, 4.2.8, 4.2.18: bytes are read once, hashed, held, and sent from memory."""
    sent = listed(shop).sha256
    async with shop.running() as day:
        await day.item("confirm", UNIT)
        shop.store.files[FILE] = b"something else, put there after the check"
        await confirmed(day)
        await day.until_state(UNIT, State.READY, State.HANDED_BACK)
    assert [f["digest"] for f in shop.facts("act_spent", UNIT)] == [sent]
    assert shop.units[UNIT].release == "2.10", "the unit takes what hashes to the listed digest and nothing else"


@pytest.mark.asyncio
async def test_10_the_owners_operator_approves_and_sees_before_what_will_happen(shop: Shop) -> None:
    """RFC 9124 4.2.11 UNAPPROVED, 4.3.13, 4.5.2 TEXT; SP 800-147 (secondary; 3.1.2 mem); CR 2.1, 2.12 (secondary)."""
    shop.units[UNIT].recordings = {"SITE1.rnx": b"r" * 90}
    async with shop.running() as day:
        shown = (await day.item("confirm", UNIT)).item.text
        for told in ("2.9", "2.10", listed(shop).sha256[:16], "SITE1.rnx", "must not be disturbed"):
            assert told in shown
        with pytest.raises(InputError):
            await day.answer("confirm", UNIT, who=TOBIAS, answer="write", label=UNIT)
        with pytest.raises(InputError):
            await day.answer("confirm", UNIT, answer="write", label="0000")
        assert shop.units[UNIT].reaches == []
        await confirmed(day)
        await day.until_state(UNIT, State.READY, State.HANDED_BACK)
    (given,) = shop.entries("permit_given", UNIT)
    assert (given.operator, given.facts["shown"]) == (INES, shown)


@pytest.mark.asyncio
async def test_11_every_check_is_made_before_anything_is_erased(shop: Shop) -> None:
    """RFC 9124 4.4.2 FAIL_EARLY, 4.5.1: all that is wrong is found together, and the unit is as it was."""
    shop.store.files[FILE] = shop.store.files[FILE][:-1]
    shop.units[UNIT].recordings = {"SITE1.rnx": b"r" * 90}
    shop.units[UNIT].hardware = "C"
    shop.plan = with_images(shop.plan, lambda i: i.model_copy(update={"hardware": ("C",)}) if i.file == FILE else i)
    async with shop.running() as day:
        await day.until_state(UNIT, State.HELD)
    found = shop.facts("checked", UNIT)[-1]["findings"]
    assert {f["check"] for f in found} >= {
        "identity",
        "model",
        "image",
        "route",
        "power",
        "room",
        "closing",
        "bench pc",
    }
    assert [f["check"] for f in found if f["answer"] == "stop"] == ["image"]
    assert shop.units[UNIT].recordings == {"SITE1.rnx": b"r" * 90}
    assert shop.units[UNIT].reaches == []


@pytest.mark.asyncio
@pytest.mark.parametrize("killed", [False, True])
async def test_12_an_interrupted_write_is_found_and_a_way_out_is_named(shop: Shop, killed: bool) -> None:
    """RFC 9019 section 4; SP 800-193 4.4 (secondary); IEC 62443-4-2 CR 7.3, 7.4 (secondary).

    Found by the bench that wrote, and after a kill by the one that starts next. The way out of these models is their
    boot loader, which takes the image anew; for others a playbook's caution says it.
    """
    if not killed:
        shop.units[UNIT].befalls["write"] = [TransferCut("the line vanished", 200)]
    async with shop.running() as day:
        if killed:
            await day.item("confirm", UNIT)
            await confirmed(day)
            await day.begun_writing(UNIT)
        else:
            await confirmed(day)
            await day.item("interrupted", UNIT)
    shop.units[UNIT].half_way = None
    async with shop.running() as day:
        asked = await day.item("interrupted", UNIT)
        assert asked.item.safety
        assert "DO NOT SWITCH OFF" in asked.item.text
        story = day.unit(UNIT)
        assert (story.state, story.held_code) == (State.HELD, "interrupted")
        assert "identify it anew; a further write needs a new permit" in (story.held_lifts or "")
        await day.answer("interrupted", UNIT, answer="identify anew")
        await day.answer("line Millrace 2.10", answer="lift", reason="the cable was changed")
        await confirmed(day)
        await day.until_state(UNIT, State.READY, State.HANDED_BACK)
    assert shop.units[UNIT].release == "2.10"
    assert len(shop.entries("permit_given", UNIT)) == 2


@pytest.mark.asyncio
async def test_13_after_the_write_the_version_is_read_back(shop: Shop) -> None:
    """RFC 9124 4.3.8 EXEC; SP 800-193 4.3 (secondary); IEC 62443-4-2 CR 3.3 (secondary)."""
    unit = shop.units[UNIT]
    unit.releases = {**unit.releases, listed(shop).sha256: "2.8"}
    async with shop.running() as day:
        await confirmed(day)
        await day.until_state(UNIT, State.HELD)
        story = day.unit(UNIT)
        assert story.held_code == "verify"
        assert "the release is 2.8, expected 2.10" in (story.held_reason or "")
        assert ("Millrace", "2.10") in day.state.lines_stopped
    assert shop.entries("unit_verified", UNIT) == []
