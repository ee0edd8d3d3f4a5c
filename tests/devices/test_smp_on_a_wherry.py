"""The SMP driver on a simulated unit to which things happen."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import anyio
import pytest

from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.smp import SmpDriver
from benchday.domain.errors import Garbled, LinkError, LinkGone, Refused, TransferCut
from benchday.domain.readings import Mode
from benchday_simulators.prepare import prepare
from tests.devices.acts import write_act
from tests.devices.slot_images import slot_image
from tests.simulators.stranger import SERIAL, Process, unit, until

SET: dict[str, object] = {
    "serial_from": "unit/serial",
    "settings": "frequency_khz",
    "recordings_index": "/rec/index.txt",
    "poll_s": 0.05,
    "down_s": 0.2,
    "answer_s": 0.5,
    "tries": 3,
}
IMAGE, _ = slot_image("9.9.0", 60_000)


@asynccontextmanager
async def wherry(folder: Path, over: str, *trouble: dict[str, Any], **told: Any) -> AsyncIterator[tuple[Process, str]]:
    """A prepared unit that meets with trouble, and where it is."""
    plain = {"release": "1.3.1", "full_mwh": 200_000, "charge_percent": 80, "recordings": [3000, 5000]}
    prepare(folder / "u", "Wherry", SERIAL, 3, **(plain | told))  # type: ignore[arg-type]
    with unit("Wherry", folder / "u", "--over", over, trouble=list(trouble)) as process:
        yield process, str(process.link)


async def opened(where: str) -> SmpDriver:
    made = await make_driver("smp", Place(where, SET))
    assert isinstance(made, SmpDriver)
    return made


async def write(driver: SmpDriver) -> None:
    """Write, restart, and see it run and stay."""
    act = write_act(SERIAL, IMAGE)
    async for _ in driver.write(act, IMAGE):
        pass
    await driver.restart(act)
    who = await driver.identify()
    assert (who.release, who.mode) == ("9.9.0", Mode.RUN)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("over", "trouble"),
    [
        ("line", {"when": "image", "percent": 40, "what": "garbled"}),
        ("udp", {"when": "image", "percent": 40, "what": "garbled"}),
        ("line", {"when": "image", "percent": 40, "what": "silent", "seconds": 0.7}),
        ("udp", {"what": "last acknowledgement lost"}),
        ("line", {"when": "restart", "what": "silent", "seconds": 0.7}),
    ],
    ids=str,
)
async def test_what_it_gets_over(tmp_path: Path, over: str, trouble: dict[str, Any]) -> None:
    async with wherry(tmp_path, over, trouble) as (process, where):
        driver = await opened(where)
        await write(driver)
        await driver.aclose()
        assert [line["outcome"] for line in process.log("image_end")] == ["whole"]
        assert len(process.log("confirmed")) == len(process.log("changed")) == 1


@pytest.mark.asyncio
async def test_a_pulled_cable_cuts_the_write_and_the_next_one_resumes_it(tmp_path: Path) -> None:
    cable = {"when": "image", "percent": 50, "what": "cable out", "seconds": 0.5}
    async with wherry(tmp_path, "line", cable) as (process, where):
        driver = await opened(where)
        with pytest.raises(TransferCut) as cut:
            await write(driver)
        assert len(IMAGE) // 3 < cut.value.sent_bytes < len(IMAGE)
        await driver.aclose()
        again = await opened(where)
        assert (await again.identify()).release == "1.3.1"
        await write(again)
        await again.aclose()
        assert [line["what"] for line in process.log() if line["what"].startswith("image")] == [
            "image_begin",
            "image_end",
        ]


@pytest.mark.asyncio
@pytest.mark.parametrize("over", ["line", "udp"])
async def test_a_power_failure_leaves_the_old_release_running(tmp_path: Path, over: str) -> None:
    power = {"when": "image", "percent": 50, "what": "power out", "seconds": 2}
    async with wherry(tmp_path, over, power) as (process, where):
        driver = await opened(where)
        with pytest.raises(TransferCut, match="fell silent"):
            await write(driver)
        await anyio.to_thread.run_sync(until, lambda: process.state()["display"].get("release"), "the unit back")
        assert process.log("image_end")[0]["outcome"] == "cut"
        who = await _once_up(driver)
        assert (who, process.log("changed")) == ("1.3.1", [])
        await write(driver)
        await driver.aclose()


@pytest.mark.asyncio
@pytest.mark.parametrize(("over", "percent", "begun"), [("line", 50, 1), ("udp", 50, 1), ("line", 0, 0), ("udp", 0, 0)])
async def test_one_that_was_off_for_a_moment_is_not_written_from_the_beginning(
    tmp_path: Path, over: str, percent: int, begun: int
) -> None:
    """It answers again while pieces are still sent to it: another write of the image needs another permit."""
    power = {"when": "image", "percent": percent, "what": "power out", "seconds": 0.2}
    async with wherry(tmp_path, over, power) as (process, where):
        made = await make_driver("smp", Place(where, SET | {"answer_s": 2.0, "erase_s": 2.0, "tries": 30}))
        assert isinstance(made, SmpDriver)
        with pytest.raises(TransferCut, match="knows of no transfer"):
            await write(made)
        await made.aclose()
        assert len(process.log("image_begin")) == begun
        assert process.log("flashed") == []


async def _once_up(driver: SmpDriver) -> str | None:
    with anyio.fail_after(20):
        while True:
            try:
                return (await driver.identify()).release
            except (LinkError, Garbled):
                await anyio.sleep(0.05)


@pytest.mark.asyncio
async def test_an_old_version_is_for_the_verify(tmp_path: Path) -> None:
    async with wherry(tmp_path, "line", {"what": "old version"}) as (process, where):
        driver, act = await opened(where), write_act(SERIAL, IMAGE)
        async for _ in driver.write(act, IMAGE):
            pass
        assert process.state()["slots"]["marked"] == "trial"
        await driver.restart(act)
        assert (await driver.identify()).release == "1.3.1"
        assert process.log("confirmed") == []
        await driver.aclose()


@pytest.mark.asyncio
async def test_a_unit_with_another_serial_is_not_confirmed(tmp_path: Path) -> None:
    async with wherry(tmp_path, "line", {"what": "wrong serial"}) as (process, where):
        driver, act = await opened(where), write_act(SERIAL, IMAGE)
        async for _ in driver.write(act, IMAGE):
            pass
        with pytest.raises(LinkGone, match="was it swapped"):
            await driver.restart(act)
        assert process.log("confirmed") == []
        await driver.aclose()


@pytest.mark.asyncio
async def test_a_busy_unit_refuses_and_loses_nothing(tmp_path: Path) -> None:
    async with wherry(tmp_path, "line", {"what": "refuses"}) as (process, where):
        driver = await opened(where)
        with pytest.raises(Refused, match="busy"):
            await write(driver)
        assert process.log("erased") == []
        await driver.aclose()


@pytest.mark.asyncio
async def test_a_broken_recording_is_no_whole_copy(tmp_path: Path) -> None:
    async with wherry(tmp_path, "udp", broken_recording=2) as (_, where):
        driver = await opened(where)
        broken = (await driver.recordings())[1]

        async def sink(_: bytes) -> None:
            pass

        with pytest.raises(TransferCut, match="only in part"):
            _ = [told async for told in driver.fetch(broken, sink)]
        assert (await driver.identify()).serial == SERIAL
        await driver.aclose()
