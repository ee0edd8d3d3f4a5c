"""The console driver against units in trouble, and against a peer that says what a test wants."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from pathlib import Path

import anyio
import pytest

from benchday.devices import nmea
from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.console import ConsoleDriver
from benchday.devices.drivers.console_line import ConsoleLimits
from benchday.devices.links.memory import MemoryLink, memory_pair
from benchday.domain.errors import (
    DeviceError,
    Garbled,
    InputError,
    LinkGone,
    LinkNotFound,
    LinkSilent,
    OutcomeUnknown,
    Refused,
    TransferCut,
)
from benchday.domain.permits import Verb
from benchday.domain.readings import Mode
from benchday.domain.seams import Link
from tests.devices.acts import image_for, spent, write_act
from tests.devices.ptys import pty_end
from tests.simulators.stranger import SERIAL, Process, unit

HARDWARE = "A B C"
QUICK = ConsoleLimits(answer_s=0.05, flash_s=0.2, image_s=0.1, restart_s=0.5, hello_s=0.1, poll_s=0.01, sky_s=0.05)


@asynccontextmanager
async def simulated(
    folder: Path, *trouble: Mapping[str, object], model: str = "Millrace", **settings: object
) -> AsyncIterator[tuple[ConsoleDriver, Process]]:
    """The driver on a simulated unit with troubles."""
    with unit(model, folder / SERIAL, trouble=list(trouble)) as process:
        driver = await make_driver("console", Place(str(process.link), {"poll_s": 0.05, **settings}))
        assert isinstance(driver, ConsoleDriver)
        try:
            yield driver, process
        finally:
            await driver.aclose()


async def write(driver: ConsoleDriver, image: bytes) -> list[tuple[str, int]]:
    """Write an image; gives the progress."""
    return [(p.what, p.done) async for p in driver.write(write_act(SERIAL, image), image)]


@pytest.mark.asyncio
async def test_silence_and_garble_are_asked_once_more(tmp_path: Path) -> None:
    """A unit that misses one request and garbles another is still identified."""
    silent = {"when": "identify", "what": "silent", "seconds": 0.5}
    garbled = {"when": "recordings", "what": "garbled"}
    async with simulated(tmp_path, silent, garbled, answer_s=1) as (driver, _):
        assert (await driver.identify()).serial == SERIAL
        assert len(await driver.recordings()) > 0


@pytest.mark.asyncio
async def test_refusals_carry_the_units_code(tmp_path: Path) -> None:
    """What the unit refuses is told with its code, and nothing was erased."""
    async with simulated(tmp_path, {"when": "identify", "what": "refuses"}) as (driver, process):
        with pytest.raises(Refused, match="the unit refused ID: busy"):
            await driver.identify()
        with pytest.raises(Refused) as refused:
            await write(driver, image_for("Osier", HARDWARE))
        assert (refused.value.request, refused.value.code) == ("IMAGE", "model")
        assert process.log("erased") == []
        assert (await driver.identify()).mode is Mode.RUN


@pytest.mark.asyncio
async def test_cable_out_in_the_middle_of_an_image(tmp_path: Path) -> None:
    """Cut, with the bytes that were acknowledged; identified anew on a new line, the unit is in its boot loader."""
    trouble = {"when": "image", "percent": 50, "what": "cable out", "seconds": 0.5}
    image = image_for("Millrace", HARDWARE)
    async with simulated(tmp_path, trouble) as (driver, process):
        with pytest.raises(TransferCut, match=r"the line vanished while the image was sent.*identified anew") as cut:
            await write(driver, image)
        assert 0 < cut.value.sent_bytes < len(image)
        process.hand(do="external power", on=True)  # at this speed a battery lasts for seconds
        again = await _reached(process)
        assert (await again.identify()).mode is Mode.BOOT
        assert process.log("image_end")[-1]["outcome"] == "cut"
        await write(again, image)
        await again.aclose()


@pytest.mark.asyncio
@pytest.mark.parametrize("when", ["image", "flash"])
async def test_power_out(when: str, tmp_path: Path) -> None:
    """The unit goes dark in the middle: cut, whether the image was on its way or being flashed."""
    async with simulated(tmp_path, {"when": when, "percent": 40, "what": "power out", "seconds": 0.5}) as (driver, _):
        with pytest.raises(TransferCut, match="the unit may be half written"):
            await write(driver, image_for("Millrace", HARDWARE))


@pytest.mark.asyncio
async def test_last_acknowledgement_lost(tmp_path: Path) -> None:
    """The unit's own word on the image settles what the missing acknowledgement left open, or it is unknown."""
    async with simulated(tmp_path, {"when": "image", "what": "last acknowledgement lost"}) as (driver, process):
        with suppress(OutcomeUnknown):
            await write(driver, image_for("Millrace", HARDWARE))
        process.wait_for("flashed")


@pytest.mark.asyncio
async def test_a_garbled_block_is_repeated(tmp_path: Path) -> None:
    """The unit garbles a block of a recording; what arrives is what is on the unit."""
    async with simulated(tmp_path, {"when": "send", "percent": 30, "what": "garbled"}) as (driver, process):
        (recording, *_) = await driver.recordings()
        got = bytearray()

        async def sink(piece: bytes) -> None:
            got.extend(piece)

        async for _p in driver.fetch(recording, sink):
            pass
        assert bytes(got) == (process.folder / "recordings" / recording.name).read_bytes()


@pytest.mark.asyncio
async def test_a_full_disk_leaves_the_unit_at_its_prompt(tmp_path: Path) -> None:
    """Whoever takes the bytes gives up in the middle: the unit stops sending and can be asked again."""
    async with simulated(tmp_path) as (driver, _):
        (recording, *_) = await driver.recordings()

        async def sink(_: bytes) -> None:
            raise OSError("no room")

        with pytest.raises(OSError, match="no room"):
            async for _p in driver.fetch(recording, sink):
                pass
        assert (await driver.identify()).serial == SERIAL


@pytest.mark.asyncio
async def test_the_wrong_unit_after_a_restart(tmp_path: Path) -> None:
    """A port that comes back with another unit behind it is told, not trusted."""
    trouble = {"when": "restart", "what": "wrong serial"}
    async with simulated(tmp_path, trouble, model="Weirstone") as (driver, _):
        image = image_for("Weirstone", HARDWARE)
        act = write_act(SERIAL, image)
        async for _p in driver.write(act, image):
            pass
        with pytest.raises(LinkGone, match=rf"where unit {SERIAL} was, unit \w+ answers now"):
            await driver.restart(act)


async def _reached(process: Process) -> ConsoleDriver:
    with anyio.fail_after(60):
        while True:
            try:
                driver = await make_driver("console", Place(str(process.link)))
            except DeviceError:
                await anyio.sleep(0.05)
            else:
                assert isinstance(driver, ConsoleDriver)
                return driver


@asynccontextmanager
async def scripted(reply: Callable[[str], bytes]) -> AsyncIterator[ConsoleDriver]:
    """The driver before a peer that answers each request as ``reply`` says."""
    link, far = memory_pair()

    async def reopen() -> Link:
        raise LinkGone("it does not come back")

    async def answer(far: MemoryLink) -> None:
        buffer = bytearray()
        while True:
            buffer += await far.receive()
            scanned = nmea.scan(buffer)
            del buffer[: scanned.used]
            for sentence in scanned.sentences:
                await far.send(reply(",".join(sentence.fields[1:])))

    async with anyio.create_task_group() as peer:
        peer.start_soon(answer, far)
        yield ConsoleDriver(link, reopen, limits=QUICK)
        peer.cancel_scope.cancel()


def said(*lines: str) -> bytes:
    """Frame lines as a unit does."""
    return b"".join(nmea.encode("PQFN", *line.split(",")) for line in lines)


@pytest.mark.asyncio
async def test_a_port_that_shows_up_late_is_waited_for(tmp_path: Path) -> None:
    """A USB port shows up after its unit is on; nobody need be sent to look at a plug that is fine."""
    port = tmp_path / "late"
    async with pty_end() as end:
        async with anyio.create_task_group() as group:
            group.start_soon(_shows_up, port, end.path, 0.3)
            driver = await make_driver("console", Place(str(port), {"poll_s": 0.1}))
        assert isinstance(driver, ConsoleDriver)
        await driver.aclose()


async def _shows_up(port: Path, of: str, after_s: float) -> None:
    await anyio.sleep(after_s)
    port.symlink_to(of)


@pytest.mark.asyncio
async def test_a_port_that_never_shows_up_is_said_to_be_missing(tmp_path: Path) -> None:
    with pytest.raises(LinkNotFound, match="there is no port"):
        await make_driver("console", Place(str(tmp_path / "none"), {"poll_s": 0.05, "appears_s": 0.2}))


@pytest.mark.asyncio
async def test_silence_asks_about_the_cable() -> None:
    """Silence says what to look at."""
    async with scripted(lambda _: b"") as driver:
        with pytest.raises(LinkSilent, match=r"is the cable of the right type\? seated\? is the unit on\?"):
            await driver.identify()


@pytest.mark.asyncio
async def test_noise_asks_about_the_rate() -> None:
    """What cannot be read is told as that."""
    async with scripted(lambda _: b"$PQFN,ID,\x80\x81*00\r\n") as driver:
        with pytest.raises(Garbled, match=r"what came cannot be read.*its rate right"):
            await driver.power()


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ("POWER,101,1,1,1,1,1,0", "POWER cannot be read"),
        ("POWER,50,1,1", "POWER cannot be read"),
        ("NO,LINE,checksum", "did not get POWER whole"),
    ],
)
async def test_answers_that_mean_nothing(answer: str, told: str) -> None:
    """They are told with their name, never taken for a reading."""
    async with scripted(lambda _: said(answer)) as driver:
        with pytest.raises(Garbled, match=told):
            await driver.power()


@pytest.mark.asyncio
async def test_late_and_strange_sentences_are_skipped() -> None:
    """Streamed positions and answers to something else are no answer."""
    noise = b"$GPGGA,1,,,,,0,00,,,,,,*66\r\n" + said("TERM,2026-01-01")
    async with scripted(lambda _: noise + said("POWER,50,1,2400,7400,-300,2951,0")) as driver:
        power = await driver.power()
        assert (power.full_mwh, power.current_ma, power.external) == (24_000, -300, False)


@pytest.mark.asyncio
async def test_a_list_with_a_gap_is_no_list() -> None:
    """A recording whose line was lost is not forgotten."""
    lines = said("RECORDING,1,3,a,10", "RECORDING,3,3,c,10")
    async with scripted(lambda _: lines) as driver:
        with pytest.raises(Garbled, match="expected RECORDING 2, got 3 of 3"):
            await driver.recordings()


@pytest.mark.asyncio
async def test_the_unit_never_asks_for_the_image() -> None:
    """It agreed and then went silent before the first block: nothing was begun."""
    asked: list[str] = []

    def reply(request: str) -> bytes:
        asked.append(request)
        return said("OK,TAKE") + b"\x18\x18" + said("NO,IMAGE,header,not an image")

    async with scripted(reply) as driver:
        with pytest.raises(Refused, match=r"header \(not an image\)"):
            await write(driver, b"nonsense")
    assert asked == ["TAKE,8"]


@pytest.mark.asyncio
async def test_a_write_is_never_asked_twice() -> None:
    """A TAKE without an answer is not repeated."""
    asked: list[str] = []

    def silent(request: str) -> bytes:
        asked.append(request)
        return b""

    async with scripted(silent) as driver:
        with pytest.raises(LinkSilent):
            await write(driver, b"image")
    assert asked == ["TAKE,5"]


@pytest.mark.asyncio
async def test_a_restart_whose_greeting_is_lost() -> None:
    """The unit is asked who it is."""
    answers = {"RESTART": said("OK,RESTART"), "ASK,ID": said("ID,7,Millrace,B,run")}
    async with scripted(lambda request: answers[request]) as driver:
        await driver.restart(spent("7", Verb.RESTART, "0" * 64, 0))
        with pytest.raises(LinkGone, match="where unit 8 was, unit 7 answers now"):
            await driver.restart(spent("8", Verb.RESTART, "0" * 64, 0))


@pytest.mark.asyncio
async def test_a_copy_that_differs_is_told(tmp_path: Path) -> None:
    """What was listed and what was copied are compared by digest."""
    async with simulated(tmp_path) as (driver, _):
        (recording, *_) = await driver.recordings()
        with pytest.raises(Garbled, match=f"the copy of {recording.name} differs"):
            async for _p in driver.fetch(replace(recording, sha256="0" * 64), _forget):
                pass


async def _forget(_: bytes) -> None:
    """Take what comes."""


@pytest.mark.asyncio
async def test_settings_are_refused_by_name() -> None:
    """A playbook's wrong driver settings are told before anything is opened."""
    with pytest.raises(InputError, match=r"unknown driver settings: baudrate; possible: .*baud"):
        await make_driver("console", Place("/dev/null", {"baudrate": 9600}))
    with pytest.raises(InputError, match="driver setting baud is '9600'; expected something like 115200"):
        await make_driver("console", Place("/dev/null", {"baud": "9600"}))
    with pytest.raises(
        InputError, match=r"no driver is called 'telepathy'; there are: by-hand, console, dialogue, .*, web"
    ):
        await make_driver("telepathy", Place(""))
