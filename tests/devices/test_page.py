"""The page driver on simulated field controllers in trouble, and what it says of passwords."""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import anyio
import pytest

from benchday.devices.drivers import Place, make_driver
from benchday.domain.errors import Garbled, LinkForbidden, LinkGone, LinkNotFound, LinkSilent, Refused, TransferCut
from benchday.domain.readings import Mode
from benchday.planning.checks import sign_in
from benchday.record.certificates import KnownCertificates
from benchday_simulators.prepare import prepare
from tests.devices.acts import image_for, write_act
from tests.devices.page_server import PLAIN, Asked, Deal, Told, driven, good
from tests.devices.pages import shipped
from tests.simulators.stranger import SERIAL, Process, unit

HARDWARE = "H J"


@asynccontextmanager
async def simulated(folder: Path, *trouble: Mapping[str, object]) -> AsyncIterator[tuple[Any, Process]]:
    """The driver on a simulated Fenbook with troubles."""
    folder.mkdir(exist_ok=True)
    with unit("Fenbook", folder / SERIAL, trouble=list(trouble)) as process:
        driver = await make_driver(
            "page",
            Place(
                str(process.link),
                {"poll_s": 0.05, "settle_s": 0.1},
                playbook=shipped("fenbook"),
                unit=SERIAL,
                certificates=KnownCertificates(folder / "keys"),
            ),
        )
        try:
            yield driver, process
        finally:
            await driver.aclose()  # type: ignore[attr-defined]  # every driver can be closed


async def write(driver: Any, image: bytes) -> None:
    """Write an image."""
    async for _ in driver.write(write_act(SERIAL, image), image):
        pass


@pytest.mark.asyncio
async def test_troubles_of_the_page(tmp_path: Path) -> None:
    """An error with 200 is a refusal; a forgotten sign-in is made anew; a redirect to elsewhere is refused."""
    troubles = [{"what": what, "when": "recordings"} for what in ("error text", "signed out", "points elsewhere")]
    async with simulated(tmp_path, *troubles[:1]) as (driver, _):
        await driver.recordings()
        with pytest.raises(Refused, match="internal"):
            await driver.power()
        assert (await driver.power()).full_mwh > 0
    async with simulated(tmp_path / "b", *troubles[1:2]) as (driver, _):
        await driver.recordings()
        assert (await driver.power()).full_mwh > 0
    async with simulated(tmp_path / "c", *troubles[2:]) as (driver, _):
        await driver.recordings()
        with pytest.raises(Refused, match=r"192\.0\.2\.99.*that is never followed"):
            await driver.power()


@pytest.mark.asyncio
async def test_hung_up_in_the_middle_of_an_image(tmp_path: Path) -> None:
    """Cut; afterwards the unit is in its loader and can be written."""
    image = image_for("Fenbook", HARDWARE, size=4_000_000)
    async with simulated(tmp_path, {"what": "hangs up", "percent": 30}) as (driver, process):
        process.hand(do="external power", on=True)
        with pytest.raises(TransferCut, match="may be half written"):
            await write(driver, image)
        process.wait_for("image_end", outcome="cut")
        assert (await driver.identify()).mode is Mode.BOOT
        await write(driver, image_for("Fenbook", HARDWARE))


@pytest.mark.asyncio
async def test_a_certificate_that_changes_with_a_restart(tmp_path: Path) -> None:
    """Refused, with what to do; nothing is sent to whoever shows it."""
    image = image_for("Fenbook", HARDWARE)
    async with simulated(tmp_path, {"what": "certificate changes"}) as (driver, process):
        process.hand(do="external power", on=True)
        assert (await driver.identify()).certificate == KnownCertificates(tmp_path / "keys").known(SERIAL)
        act = write_act(SERIAL, image)
        async for _ in driver.write(act, image):
            pass
        with pytest.raises(LinkForbidden, match="shows another certificate than unit"):
            await driver.restart(act)


@pytest.mark.asyncio
async def test_cable_out_and_back(tmp_path: Path) -> None:
    """Out of reach, then there again: the serial is read anew before anything else."""
    async with simulated(tmp_path, {"what": "cable out", "when": "recordings", "seconds": 0.3}) as (driver, process):
        with suppress(LinkGone, LinkNotFound, LinkSilent):
            await driver.recordings()
        with pytest.raises((LinkGone, LinkNotFound, LinkSilent)):
            await driver.power()
        before = len(process.log("identify"))
        with anyio.fail_after(20):
            while True:
                try:
                    await driver.power()
                    break
                except (LinkGone, LinkNotFound, LinkSilent):
                    await anyio.sleep(0.05)
        assert len(process.log("identify")) > before


@pytest.mark.asyncio
@pytest.mark.parametrize(("password", "found"), [("0000", True), ("heron", False)])
async def test_a_factory_password_is_told(password: str, found: bool) -> None:  # a parameter of the test
    """What the unit was delivered with still opens it: said in its log, the password never."""
    page = PLAIN + 'factory: {user: heron, password: "0000"}\n'
    async with driven(good, page, password=password) as driver:
        told = await driver.identify()
    said = sign_in(told)
    assert bool(said) is found
    assert all("delivered with" in f.text and "0000" not in str(f) for f in said)


@pytest.mark.asyncio
@pytest.mark.parametrize("changed", [True, False])
async def test_a_factory_password_is_tried_where_that_is_declared(changed: bool) -> None:  # a parameter of the test
    """Once in a session, beside the unit's own; it does not disturb the own one."""
    seen: list[str] = []

    def answer(asked: Asked) -> Told | Deal:
        own = asked.headers.get("authorization", "")
        seen.append(own)
        factory = own == "Basic aGVyb246MDAwMA=="  # heron:0000
        return Told(401, headers={"WWW-Authenticate": "Basic"}) if factory and changed else good(asked)

    page = PLAIN + 'factory: {user: heron, password: "0000", tried: true}\n'
    async with driven(answer, page) as driver:
        first = await driver.identify()
        assert bool(first.remarks) is not changed
        assert await driver.identify() == first
    assert 0 < seen.count("Basic aGVyb246MDAwMA==") <= 2


@pytest.mark.asyncio
async def test_a_recording_that_has_vanished_is_told_as_that(tmp_path: Path) -> None:
    """A page that says everything with status 200 also says so that it has no such recording."""
    prepare(tmp_path / SERIAL, "Fenbook", SERIAL, 3, recordings=[20_000])
    async with simulated(tmp_path, {"what": "recordings vanish", "when": "send"}) as (driver, _):
        (kept,) = await driver.recordings()
        got: list[bytes] = []

        async def sink(piece: bytes) -> None:
            got.append(piece)

        with pytest.raises(Refused, match="missing"):
            async for _ in driver.fetch(kept, sink):
                pass
        assert await driver.recordings() == ()


@pytest.mark.asyncio
async def test_a_page_that_came_twice_over_is_asked_for_again(tmp_path: Path) -> None:
    """What is listed once is not taken for two: a changed list of options would hold the unit after its write."""
    async with simulated(tmp_path, {"what": "repeated"}) as (driver, _):
        with pytest.raises(Garbled, match="one option twice"):
            await driver.identify()
        assert (await driver.identify()).options == ("modem", "stakeout")
