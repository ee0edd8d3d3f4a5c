"""The watcher: it listens, never sends, and believes no sentence whose checksum is missing or wrong."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from random import Random

import anyio
import pytest

from benchday.devices import nmea
from benchday.devices.completed import completed
from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.watch import TellingWatchDriver, WatchDriver, WatchLimits
from benchday.devices.links.memory import MemoryLink, memory_pair
from benchday.devices.nmea_sky import Stream
from benchday.domain.errors import DeviceError, Garbled, InputError, LinkGone, LinkSilent
from benchday.domain.readings import Identity, Mode, Sky
from benchday.domain.seams import capabilities
from benchday.domain.watch import Watch
from benchday.planning.plausible import plausibility
from tests.planning.test_plausible import mark
from tests.simulators.stranger import SERIAL, unit

pytestmark = pytest.mark.asyncio
QUICK = WatchLimits(listen_s=0.2, text_s=0.2)
GGA = "GNGGA,120000.00,1234.56780,N,02345.67890,W,4,14,0.8,89.0,M,31.2,M,1.0,0001"
GSA = "GNGSA,A,3,03,04,05,06,07,08,09,,,,,,1.4,0.8,1.1,1"
RMC = "GNRMC,120000.00,A,1234.56780,N,02345.67890,W,0.0,0.0,270126,,,R"
GST = "GNGST,120000.00,0.30,0.35,0.20,292.62,3.00,4.00,0.71"
# Without HDOP in it, longer than the standard's 82 characters.
LONG = "GNGGA,120000.000000,1234.5678000000,N,02345.6789000000,W,1,14,,89.000000,M,31.200000,M,,"
HERE = Sky("fixed", None, 14, 125_761_300, -237_613_150, 80, height_mm=120_200, vdop_centi=110)
"""89.0 m above mean sea level, which is 31.2 m above the ellipsoid there."""


def framed(*bodies: str) -> bytes:
    """Frame sentences."""
    return b"".join(f"${body}*{nmea.checksum(body.encode()):02X}\r\n".encode() for body in bodies)


@asynccontextmanager
async def streaming(*pieces: bytes, watch: Watch | None = None) -> AsyncIterator[tuple[WatchDriver, MemoryLink]]:
    """A driver on a line on which this comes, again and again."""
    link, far = memory_pair()

    async def stream() -> None:
        while True:
            for piece in pieces:
                await far.send(piece)
            await anyio.sleep(0.005)

    driver = WatchDriver(link, QUICK) if watch is None else TellingWatchDriver(link, QUICK, watch, "Reed")
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(stream)
        yield driver, far
        tasks.cancel_scope.cancel()


async def sky_of(*pieces: bytes) -> Sky:
    """Listen once; nothing may have been sent."""
    sent = b""
    async with streaming(*pieces) as (driver, far):
        seen: Sky | DeviceError
        try:
            seen = await driver.sky()
        except DeviceError as error:
            seen = error
        with anyio.move_on_after(0.01):
            sent = await far.receive()
    assert sent == b""
    if isinstance(seen, DeviceError):
        raise seen
    return seen


async def test_what_is_seen_is_put_together() -> None:
    assert await sky_of(framed(GGA, GSA, RMC)) == HERE
    async with streaming() as (driver, _):
        assert capabilities(driver) == ("position",)
        assert set(completed(driver, object()).sources) == {"position"}


@pytest.mark.parametrize(
    ("bodies", "seen"),
    [
        ((GGA, GSA, RMC.replace(",A,", ",V,", 1)), replace(HERE, fix="none")),
        ((GGA, GSA.replace("A,3", "A,1"), RMC), replace(HERE, fix="none")),
        ((LONG, GSA, RMC), replace(HERE, fix="single")),
        ((GST, GGA, GSA, RMC), replace(HERE, deviation_mm=5_000, height_deviation_mm=710)),
        ((GGA,), replace(HERE, vdop_centi=None)),
        ((GGA.replace("31.2,M", ","), GSA, RMC), replace(HERE, height_mm=None)),
        ((GGA, GSA.replace("1.1,1", "99.99,1"), RMC), replace(HERE, vdop_centi=None)),
    ],
)
async def test_sentences(bodies: tuple[str, ...], seen: Sky) -> None:
    assert await sky_of(framed(*bodies)) == seen


async def test_no_view_of_the_sky_is_no_fault() -> None:
    seen = await sky_of(
        framed("GPGGA,120000.00,,,,,0,00,,,M,,M,,", "GPGSA,A,1,,,,,,,,,,,,,,,", "GPRMC,120000,V,,,,,,,270126,,")
    )
    assert seen == Sky("none", None, 0)
    assert plausibility(seen, mark("0", "0")) is None


@pytest.mark.parametrize(
    ("data", "error"),
    [
        (b"", LinkSilent),
        (b"console text\r\n", LinkSilent),
        (f"${GGA}\r\n".encode(), Garbled),
        (framed(GGA).replace(b"1234.5", b"1235.5"), Garbled),
        (framed(GSA, RMC), Garbled),
        (framed(GGA.replace("0.8", "-.8")), Garbled),
        (framed(GGA.replace("89.0,M", "89.0,F")), Garbled),
        (framed(GGA.replace("31.2", "31,2")), Garbled),
        (b"$" + b"G" * 5000, LinkSilent),
    ],
)
async def test_what_cannot_be_read(data: bytes, error: type[Exception]) -> None:
    with pytest.raises(error):
        await sky_of(*([data] if data else []))


async def test_a_sentence_with_a_changed_byte_is_never_believed() -> None:
    """Each byte, each of some others in its place: refused, or read as the very same sentence."""
    whole, draw = framed(GGA), Random(7)
    for place in range(len(whole) - 2):
        for byte in draw.sample(range(256), 24):
            changed = whole[:place] + bytes([byte]) + whole[place + 1 :]
            for sentence in nmea.scan(changed).sentences:
                # Only the case of a checksum's digit may differ.
                assert sentence.fields == tuple(GGA.split(",")), changed


async def test_the_line_goes() -> None:
    link, far = memory_pair()
    driver = WatchDriver(link, WatchLimits(listen_s=5))
    async with anyio.create_task_group() as tasks:

        async def pull() -> None:
            await anyio.sleep(0.02)
            await far.aclose()

        tasks.start_soon(pull)
        with pytest.raises(LinkGone):
            await driver.sky()
        await driver.aclose()


@pytest.mark.parametrize(
    ("texts", "identity"),
    [
        (("GNTXT,01,01,02,SN=RD-0077 FW=3.1",), Identity("RD-0077", "Reed", "", Mode.RUN, "3.1")),
        (("GNTXT,01,02,02,SN=RD-0077", "GNTXT,02,02,02,FW=3.1;B"), Identity("RD-0077", "Reed", "", Mode.RUN, "3.1")),
        (("GNTXT,01,01,02,SN=RD-0077",), None),
        (("GNTXT,01,01,02,hello",), None),
    ],
)
async def test_identity_where_declared_text_gives_it(texts: tuple[str, ...], identity: Identity | None) -> None:
    async with streaming(framed(*texts, GGA), watch=Watch(serial="SN=", release="FW=")) as (driver, _):
        assert isinstance(driver, TellingWatchDriver)
        if identity is None:
            with pytest.raises(Garbled, match="no text sentence with SN= and FW="):
                await driver.identify()
        else:
            assert await driver.identify() == identity


async def test_texts_are_bounded() -> None:
    stream = Stream()
    for number in range(1000):
        stream.take(nmea.Sentence(("GNTXT", "01", "01", "02", f"n={number}")))
    assert len(stream.texts) == 64


async def test_on_a_unit_that_streams(tmp_path: Path) -> None:
    """A simulated receiver streams by itself; nothing is sent to it, and what it says is plausible at its mark."""
    with unit("Millrace", tmp_path / SERIAL) as process:
        driver = await make_driver("watch", Place(str(process.link), {"listen_s": 5}))
        assert isinstance(driver, WatchDriver)
        seen = await driver.sky()
        await driver.aclose()
        told = plausibility(seen, mark("12.5761300", "-23.7613150"))
        assert told is not None
        assert told.startswith("plausible within ")
        assert "not plausible" in (plausibility(seen, mark("12.6", "-23.7613150")) or "")
        assert not process.log("refused")
        assert not process.log("identify")
    with pytest.raises(InputError, match="unknown driver settings"):
        await make_driver("watch", Place("x", {"speed": 1}))
