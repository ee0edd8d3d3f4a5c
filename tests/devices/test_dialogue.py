"""The driver of declared dialogues: what lines do to it, what it makes of what it hears, what it cannot do."""

from __future__ import annotations

import hashlib
import json
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager, nullcontext
from pathlib import Path
from typing import Any

import anyio
import pytest

from benchday.devices.completed import completed
from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.by_hand import ByHandDriver
from benchday.devices.drivers.dialogue import DialogueDriver
from benchday.devices.drivers.dialogue_talk import DialogueLimits
from benchday.devices.links.memory import Faults, MemoryLink, memory_pair
from benchday.domain.dialogue import Dialogue
from benchday.domain.errors import (
    DeviceError,
    Garbled,
    InputError,
    LinkSilent,
    Refused,
    TransferCut,
)
from benchday.domain.permits import Verb
from benchday.domain.readings import Mode, Recording, Settings
from benchday.domain.seams import Link, capabilities
from tests.devices.acts import image_for, spent, write_act
from tests.devices.declared import gantry, millrace
from tests.devices.scripted import ScriptedOperator
from tests.simulators.stranger import SERIAL, Process, unit

IDENTIFY: dict[str, Any] = {"ask": [{"say": "WHO", "hear": ["UNIT {serial} {model} {mode}"], "seconds": 0.3}]}
POWER: dict[str, Any] = {
    "ask": [
        {"say": "BATT", "hear": ["BATT {charge_percent:digits} {temperature_c:decimal} {external}"], "seconds": 0.3}
    ]
}
LISTED = {"say": "MEM", "each": "JOB {number:digits} {name} {bytes:digits}", "until": "END {count:digits}", "most": 5}
PARTS: dict[str, Any] = {
    "line": {"baud": 9600, "ends": "CR"},
    "refusals": [{"hear": "?{code:digits} {words:rest}", "means": {"5": "the charge is too low"}}],
    "misheard": ["?0 {-:rest}"],
    "identify": IDENTIFY,
    "power": POWER,
    "recordings": {"list": LISTED | {"seconds": 0.3}},
    "settings": {"list": {"say": "PARAMS", "each": "{name}={value:rest}", "until": "END", "seconds": 0.3}},
    "put_settings": {"ask": [{"say": "SET {name}={value}", "hear": ["OK"], "seconds": 0.3}]},
    "position": {"ask": [{"say": "POS", "hear": ["{fix} {latitude_degrees:decimal} {longitude_degrees:decimal}"]}]},
}  # fmt: skip


def declared(**parts: Any) -> Dialogue:
    """Return the small dialogue with other parts."""
    told = {name: part for name, part in {**PARTS, **parts}.items() if part is not None}
    return Dialogue.model_validate_json(json.dumps(told))


class FarEnd:
    """Answers each request of a table; what comes is kept."""

    def __init__(self, link: MemoryLink, answers: dict[str, Iterable[bytes]]) -> None:
        self.link, self.heard = link, list[bytes]()
        self._answers = {request: list(said) for request, said in answers.items()}

    async def work(self) -> None:
        kept = b""
        while True:
            kept += await self.link.receive()
            *lines, kept = kept.split(b"\r")
            for line in lines:
                self.heard.append(line)
                said = self._answers.get(line.decode(), [])
                if said:
                    await self.link.send(said.pop(0) if len(said) > 1 else said[0])


@asynccontextmanager
async def spoken(
    answers: dict[str, Iterable[bytes]], *, back: Faults | None = None, **parts: Any
) -> AsyncIterator[tuple[Any, FarEnd]]:
    """A driver on a far end that answers by a table."""
    link, far = memory_pair(back=back)

    async def reopen() -> Link:
        raise AssertionError("the line was opened again")

    end = FarEnd(far, answers)
    driver = DialogueDriver(link, reopen, declared(**parts), "7", limits=DialogueLimits(poll_s=0.02))
    async with anyio.create_task_group() as working:
        working.start_soon(end.work)
        yield driver, end
        working.cancel_scope.cancel()


WHO = b"UNIT 7 Gantry run\r\n"


@pytest.mark.asyncio
@pytest.mark.parametrize(
    "said",
    [
        WHO,
        b"\x00\xff\x80 noise \x1b[2J\r\n" + WHO,
        b"half a line" + b"\r\n" + WHO + b"and more",
        b"WHO\r\n> \r\n" + WHO,
        b"\n\n\r\r" + WHO,
        b"STATUS 1\r\n" * 150 + WHO,
        b"x" * 5000 + b"\r\n" + WHO,
        b"UNIT 7 Gantry run\rUNIT 8 Other run\r",
    ],
    ids=["plain", "noise", "joined", "echo", "empty lines", "unasked for", "an endless line", "two answers"],
)
@pytest.mark.parametrize("split", [None, 1])
async def test_an_answer_is_found_in_what_comes(said: bytes, split: int | None) -> None:
    patient = {"ask": [IDENTIFY["ask"][0] | {"seconds": 20}]}
    async with spoken({"WHO": [said]}, back=Faults(split=split), identify=patient) as (driver, _):
        found = await driver.identify()
    assert (found.serial, found.model, found.mode) == ("7", "Gantry", Mode.RUN)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("said", "error", "words"),
    [
        (
            [],
            LinkSilent,
            "no answer in 0.3 s, expected a line that begins with UNIT and tells serial, model and mode: ",
        ),
        ([b"UNIT 7 Gan"], LinkSilent, "is the cable"),
        ([b"UNIT 7 Gantry\r\n"], Garbled, "last came 'UNIT 7 Gantry'"),
        ([b"\x80\xe0\xfe\r\n" * 3], Garbled, "rate, parity and cable"),
        ([b"NOISE\r\n" * 100_000], Garbled, "so much comes that nobody asked for"),
        ([b"\xff" * 1_000_000], Garbled, "cannot be read"),
        ([b"UNIT 7 Gantry running\r\n"], Garbled, "stands for none of boot, run"),
        ([b"?5 weak\r\n"], Refused, "the charge is too low"),
        ([b"?9 sorry \x1b[2J\r\n"], Garbled, "expected"),
        ([b"?9 sorry\r\n"], Refused, "sorry"),
        ([b"?0 what\r\n"], Garbled, "did not get WHO whole"),
    ],
    ids=[
        "silence",
        "cut",
        "short",
        "wrong baud",
        "flood of lines",
        "flood",
        "word",
        "meant",
        "escape",
        "no",
        "misheard",
    ],
)
async def test_what_is_no_answer_is_told_and_never_taken_for_one(
    said: list[bytes], error: type[DeviceError], words: str
) -> None:
    async with spoken({"WHO": said}) as (driver, _):
        with anyio.fail_after(20), pytest.raises(error) as raised:
            await driver.identify()
    assert words in str(raised.value)
    assert str(raised.value).isprintable()
    assert len(str(raised.value)) < 400


@pytest.mark.asyncio
async def test_a_line_that_is_flooded_keeps_nothing_of_the_flood() -> None:
    async with spoken({"WHO": [b"\xff" * 3_000_000]}) as (driver, _):
        with anyio.fail_after(20), pytest.raises(Garbled):
            await driver.identify()
        assert len(driver._talk.line._buffer) <= 2 * 65_536


@pytest.mark.asyncio
async def test_an_answer_that_was_lost_is_asked_for_once_more() -> None:
    async with spoken({"WHO": [b"?0 line\r\n", WHO]}) as (driver, end):
        assert (await driver.identify()).serial == "7"
    assert end.heard == [b"WHO"] * 3, "and on a plain line twice"


@pytest.mark.asyncio
async def test_a_digit_that_noise_changed_is_not_believed() -> None:
    async with spoken({"WHO": [b"UNIT 7 Gantry run\r\n", b"UNIT 3 Gantry run\r\n"]}) as (driver, _):
        with pytest.raises(Garbled, match="two things of itself"):
            await driver.identify()


@pytest.mark.asyncio
async def test_figures_come_out_in_our_units() -> None:
    words = {"external": {"DC": "yes", "PACK": "no"}}
    async with spoken({"BATT": [b"BATT 86 21.9 PACK\r\n"]}, power=POWER | {"words": words}) as (driver, _):
        told = await driver.power()
    assert (told.charge_percent, told.temperature_dk, told.external) == (86, 2950, False)


@pytest.mark.asyncio
@pytest.mark.parametrize("said", [b"BATT 101 21 yes\r\n", b"BATT 50 21 maybe\r\n", b"BATT 50 9999999999999 yes\r\n"])
async def test_figures_that_cannot_be_are_garbled(said: bytes) -> None:
    async with spoken({"BATT": [said]}) as (driver, _):
        with pytest.raises(Garbled):
            await driver.power()


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("said", "names"),
    [
        (b"END 0\r\n", []),
        (b"JOB 1 a 10\r\nJOB 2 b 0\r\nEND 2\r\n", ["a", "b"]),
        (b"JOB 1 a 10\r\nEND 2\r\n", None),
        (b"JOB 1 a 10\r\nJOB 3 b 10\r\nEND 2\r\n", None),
        (b"JOB 1 a 10\r\n", None),
        (b"".join(b"JOB %d a 10\r\n" % n for n in range(1, 100)), None),
        (b"JOB 1 a 99999999999999999999999\r\nEND 1\r\n", None),
    ],
    ids=["none", "two", "one lost at the end", "one lost between", "no end", "too many", "a size that cannot be"],
)
async def test_a_list_is_whole_or_nothing(said: bytes, names: list[str] | None) -> None:
    async with spoken({"MEM": [said]}) as (driver, _):
        if names is None:
            with pytest.raises((Garbled, LinkSilent)):
                await driver.recordings()
        else:
            assert [r.name for r in await driver.recordings()] == names


@pytest.mark.asyncio
@pytest.mark.parametrize("value", ["on\rREBOOT", "on\nREBOOT", "\x1b[2J", "é", "a b"])
async def test_what_would_break_the_line_is_not_said(value: str) -> None:
    wanted = Settings({"mask": value})
    act = spent("7", Verb.PUT_SETTINGS, wanted.digest, 1)
    async with spoken({}) as (driver, end):
        with pytest.raises(InputError, match="nothing was said"):
            await driver.put_settings(act, wanted)
        await anyio.wait_all_tasks_blocked()
    assert end.heard == []


@pytest.mark.asyncio
async def test_a_change_is_said_once() -> None:
    wanted = Settings({"mask": "10"})
    async with spoken({}) as (driver, end):
        with pytest.raises(LinkSilent):
            await driver.put_settings(spent("7", Verb.PUT_SETTINGS, wanted.digest, 1), wanted)
    assert end.heard == [b"SET mask=10"]


@pytest.mark.asyncio
async def test_a_place_in_degrees() -> None:
    async with spoken({"POS": [b"fixed -12.5 23.25\r\n"]}) as (driver, _):
        seen = await driver.sky()
    assert (seen.latitude_e7, seen.longitude_e7, seen.height_mm) == (-125_000_000, 232_500_000, None)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("hear", "said", "height_mm"),
    [
        ("{fix} {height_m:decimal}", b"fixed -12.5", -12_500),
        ("{fix} {sea_level_m:decimal} {geoid_m:decimal}", b"fixed 89.0 31.2", 120_200),
        ("{fix} {sea_level_m:decimal}", b"fixed 89.0", None),
        ("{fix} {height_m}", b"fixed high", "!"),
    ],
)
async def test_heights_above_the_ellipsoid(hear: str, said: bytes, height_mm: int | str | None) -> None:
    """Told as such, or above mean sea level with what that is above the ellipsoid; neither part alone is a height."""
    async with spoken({"POS": [said + b"\r\n"]}, position={"ask": [{"say": "POS", "hear": [hear]}]}) as (driver, _):
        if height_mm == "!":
            with pytest.raises(Garbled, match="expected a number for height_m"):
                await driver.sky()
        else:
            assert (await driver.sky()).height_mm == height_mm


@pytest.mark.asyncio
async def test_it_can_do_what_is_declared_and_no_more(tmp_path: Path) -> None:
    async with spoken({}, power=None, position=None, put_settings=None) as (driver, _):
        assert capabilities(driver) == ("identify", "recordings", "settings")
        both = completed(driver, ByHandDriver(ScriptedOperator("7", tmp_path, 0, "1")))
        assert both.sources["identify"] == "driver"
        assert {"power", "fetch", "write", "restart", "self-test", "position"} <= both.by_hand


@pytest.mark.asyncio
async def test_without_a_dialogue_it_is_refused() -> None:
    with pytest.raises(InputError, match="needs a playbook that declares one"):
        await make_driver("dialogue", Place("/dev/null"))


@asynccontextmanager
async def on_a_gantry(folder: Path, **told: Any) -> AsyncIterator[tuple[Any, Process]]:
    """The shipped dialogue on a simulated Gantry."""
    with unit("Gantry", folder / SERIAL, **told) as process:
        at = Place(str(process.link), {"poll_s": 0.05}, playbook=gantry(), unit=SERIAL)
        driver: Any = await make_driver("dialogue", at)
        try:
            yield driver, process
        finally:
            await driver.aclose()


IMAGE = image_for("Gantry", "F G")
TROUBLES: dict[str, tuple[dict[str, object], type[Exception] | None]] = {
    "power out": ({"when": "image", "what": "power out", "percent": 40, "seconds": 1}, TransferCut),
    "cable out": ({"when": "image", "what": "cable out", "percent": 40, "seconds": 1}, TransferCut),
    "refuses": ({"when": "image", "what": "refuses"}, Refused),
    "last acknowledgement lost": ({"when": "image", "what": "last acknowledgement lost"}, None),
}


@pytest.mark.asyncio
@pytest.mark.parametrize("what", TROUBLES)
async def test_a_write_ends_well_or_says_how_it_stands(what: str, tmp_path: Path) -> None:
    trouble, error = TROUBLES[what]
    async with on_a_gantry(tmp_path, trouble=[trouble]) as (driver, process):
        await driver.identify()
        with pytest.raises(error) if error is not None else nullcontext():
            async for _ in driver.write(write_act(SERIAL, IMAGE), IMAGE):
                pass
        if error is Refused:
            assert not process.log("image_begin")
        if error is None:
            assert process.wait_for("image_end")["sha256"] == hashlib.sha256(IMAGE).hexdigest()


@pytest.mark.asyncio
async def test_an_image_goes_out_in_small_blocks(tmp_path: Path) -> None:
    image = image_for("Millrace", "A B C", size=4000)
    with unit("Millrace", tmp_path / SERIAL) as process:
        at = Place(str(process.link), {"poll_s": 0.05}, playbook=millrace("xmodem-crc"), unit=SERIAL)
        driver: Any = await make_driver("dialogue", at)
        async for _ in driver.write(write_act(SERIAL, image), image):
            pass
        assert process.wait_for("image_end")["sha256"] == hashlib.sha256(image).hexdigest()
        await driver.aclose()


@pytest.mark.asyncio
async def test_another_model_s_image_is_refused_before_anything_is_erased(tmp_path: Path) -> None:
    other = image_for("Tiller", "E")
    async with on_a_gantry(tmp_path) as (driver, process):
        with pytest.raises(Refused, match="the image is for another model"):
            async for _ in driver.write(write_act(SERIAL, other), other):
                pass
        assert not process.log("erased")


@pytest.mark.asyncio
@pytest.mark.parametrize("when", ["identify", "recordings"])
async def test_a_garbled_byte_is_never_taken_for_another_list(when: str, tmp_path: Path) -> None:
    async with on_a_gantry(tmp_path, trouble=[{"when": when, "what": "garbled"}]) as (driver, process):
        first = process.state()["recordings"]
        assert [r.bytes for r in await driver.recordings()] == [r["bytes"] for r in first]


@pytest.mark.asyncio
async def test_a_copy_that_nobody_wants_any_more_is_broken_off(tmp_path: Path) -> None:
    async def full(_: bytes) -> None:
        raise OSError("no room")

    async with on_a_gantry(tmp_path) as (driver, _):
        listed: tuple[Recording, ...] = await driver.recordings()
        with pytest.raises(OSError, match="no room"):
            async for _ in driver.fetch(listed[0], full):
                pass
        assert (await driver.identify()).serial == SERIAL


@pytest.mark.asyncio
async def test_a_recording_that_cannot_be_read_is_cut(tmp_path: Path) -> None:
    async def sink(_: bytes) -> None:
        """Take it."""

    async with on_a_gantry(tmp_path) as (driver, _):
        with pytest.raises(Refused):
            async for _ in driver.fetch(Recording("none.rnx", 10), sink):
                pass
