"""The web driver: on units in trouble, and before small servers that do what a test wants."""

from __future__ import annotations

import hashlib
import inspect
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from pathlib import Path

import anyio
import anyio.abc
import httpx
import pytest

from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.web import WebDriver
from benchday.devices.drivers.web_errors import ALL_OF_HTTPX, TRANSLATED, translated
from benchday.devices.drivers.web_session import MOST_JSON_BYTES, Address, WebLimits, WebSession
from benchday.domain.errors import (
    BenchdayError,
    Garbled,
    InputError,
    LinkForbidden,
    LinkGone,
    LinkNotFound,
    LinkSilent,
    OutcomeUnknown,
    Refused,
    TransferCut,
)
from benchday.domain.permits import Verb
from benchday.domain.readings import Mode, Recording
from tests.devices.acts import image_for, spent, write_act
from tests.simulators.stranger import SERIAL, Process, unit

HARDWARE = "C D"
STATUS = {
    "serial": "7",
    "model": "Osier",
    "hardware": "C",
    "mode": "run",
    "release": "1.0",
    "options": ["radio"],
    "term": None,
    "power": {
        "charge_percent": 50,
        "max_error_percent": 1,
        "full_10mwh": 2400,
        "mv": 7400,
        "ma": -300,
        "temperature_dk": 2951,
        "external": False,
    },
    "settings": {"role": "rover"},
}
QUICK = WebLimits(answer_s=0.2, image_s=0.2, flash_s=0.2, restart_s=0.2, settle_s=0.01, poll_s=0.01)


def test_every_exception_of_httpx_is_translated() -> None:
    """Walk httpx: a new exception of theirs makes this fail."""
    theirs = {
        thing
        for _, thing in inspect.getmembers(httpx, inspect.isclass)
        if issubclass(thing, Exception) and not issubclass(thing, Warning)
    }
    assert theirs == set(TRANSLATED)
    assert all(issubclass(kind, ALL_OF_HTTPX) for kind in theirs)


@pytest.mark.parametrize("kind", TRANSLATED, ids=lambda kind: kind.__name__)
def test_translations_name_the_address_and_no_secret(kind: type[Exception]) -> None:
    """Each gives one of our errors, with the address, without what was sent."""
    error = translated(kind.__new__(kind), "http://192.0.2.1")
    assert isinstance(error, BenchdayError)
    assert "192.0.2.1" in str(error)


@asynccontextmanager
async def simulated(folder: Path, *trouble: Mapping[str, object]) -> AsyncIterator[tuple[WebDriver, Process]]:
    """The driver on a simulated Osier with troubles."""
    with unit("Osier", folder / SERIAL, trouble=list(trouble)) as process:
        driver = await make_driver("web", Place(str(process.link), {"poll_s": 0.05}))
        assert isinstance(driver, WebDriver)
        try:
            yield driver, process
        finally:
            await driver.aclose()


async def write(driver: WebDriver, image: bytes, serial: str = SERIAL) -> list[tuple[str, int]]:
    """Write an image; gives the progress."""
    return [(p.what, p.done) async for p in driver.write(write_act(serial, image), image)]


@pytest.mark.asyncio
async def test_cable_out_in_the_middle_of_an_image(tmp_path: Path) -> None:
    """The connection is cut while the image is sent; afterwards the unit is in its boot loader and can be written."""
    image = image_for("Osier", HARDWARE, size=12_000_000)
    async with simulated(tmp_path, {"when": "image", "percent": 30, "what": "cable out", "seconds": 0.3}) as (
        driver,
        process,
    ):
        process.hand(do="external power", on=True)
        with pytest.raises(TransferCut, match="the unit may be half written"):
            await write(driver, image)
        with anyio.fail_after(60):
            while True:
                try:
                    identity = await driver.identify()
                    break
                except (LinkNotFound, LinkGone):
                    await anyio.sleep(0.05)
        assert identity.mode is Mode.BOOT
        assert identity.release is None
        await write(driver, image_for("Osier", HARDWARE))


@pytest.mark.asyncio
async def test_refusals_carry_the_units_code(tmp_path: Path) -> None:
    """An image for another model is refused, and nothing was erased."""
    async with simulated(tmp_path) as (driver, process):
        with pytest.raises(Refused) as refused:
            await write(driver, image_for("Millrace", HARDWARE))
        assert refused.value.code == "model"
        assert process.log("erased") == []


@pytest.mark.asyncio
async def test_power_out_while_flashing(tmp_path: Path) -> None:
    """The unit goes dark while it flashes."""
    async with simulated(tmp_path, {"when": "flash", "percent": 40, "what": "power out", "seconds": 0.3}) as (
        driver,
        _,
    ):
        with pytest.raises(TransferCut, match="flash ended early"):
            await write(driver, image_for("Osier", HARDWARE))


@pytest.mark.asyncio
async def test_the_wrong_password() -> None:
    """Told as that; neither user nor password appears anywhere."""

    def answer(request: httpx.Request) -> httpx.Response:
        return httpx.Response(403 if request.url.path == "/sign-in" else 401)

    async with driven(answer) as driver:
        with pytest.raises(LinkForbidden, match="check user and password") as told:
            await driver.identify()
    assert "heron" not in str(told.getrepr(style="long"))
    assert "heron" not in repr(Address("http://192.0.2.1", "heron", "heron"))


class Answering(httpx.AsyncBaseTransport):
    """Carries requests to a function, and its answers back as a stream, as a socket does."""

    def __init__(self, answer: Callable[[httpx.Request], httpx.Response]) -> None:
        self._answer = answer

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        await request.aread()
        answer = self._answer(request)
        return httpx.Response(answer.status_code, headers=answer.headers, stream=httpx.ByteStream(answer.content))


@asynccontextmanager
async def driven(answer: Callable[[httpx.Request], httpx.Response]) -> AsyncIterator[WebDriver]:
    """The driver before a function from request to response."""
    find = lambda: Address("http://192.0.2.1", "heron", "heron")  # noqa: E731  # shorter than a function
    session = WebSession(find, QUICK, Answering(answer))
    yield WebDriver(session, limits=QUICK)
    await session.aclose()


@pytest.mark.asyncio
async def test_signs_in_anew_once() -> None:
    """A session that has ended is begun again, without a word to anybody."""
    asked: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request.url.path)
        if request.url.path == "/sign-in":
            assert request.content == b"user=heron&password=heron"
            return httpx.Response(204, headers={"Set-Cookie": f"quill={len(asked)}; HttpOnly"})
        fresh = request.headers.get("cookie") == "quill=2"
        return httpx.Response(200, json=STATUS) if fresh else httpx.Response(401)

    async with driven(answer) as driver:
        assert (await driver.identify()).serial == "7"
        await driver.power()
    assert asked == ["/status", "/sign-in", "/status", "/status"]


@pytest.mark.asyncio
async def test_redirects_are_not_followed() -> None:
    """The unit's own address, and no other."""
    asked: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request.url.host)
        return httpx.Response(302, headers={"Location": "http://198.51.100.7/status"})

    async with driven(answer) as driver:
        with pytest.raises(Garbled, match="points elsewhere"):
            await driver.identify()
    assert set(asked) == {"192.0.2.1"}


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("body", "told"),
    [
        (b"<html>", "cannot be read"),
        (b"{}", "serial"),
        (b"x" * (MOST_JSON_BYTES + 1), "larger than"),
    ],
)
async def test_bodies_that_are_no_answer(body: bytes, told: str) -> None:
    """Wrong, short of fields, or too large."""
    async with driven(lambda _: httpx.Response(200, content=body)) as driver:
        with pytest.raises(Garbled, match=told):
            await driver.identify()


@pytest.mark.asyncio
@pytest.mark.parametrize("name", [".", ".."])
async def test_names_that_lead_elsewhere(name: str) -> None:
    """A recording's name is a name, not a path."""
    async with driven(lambda _: httpx.Response(200)) as driver:
        with pytest.raises(Garbled, match="cannot be asked for"):
            async for _p in driver.fetch(Recording(name, 1), _forget):
                pass


@pytest.mark.asyncio
@pytest.mark.parametrize(("body", "told"), [(b"abcd", "longer than"), (b"ab", "differs"), (b"xyz", "differs")])
async def test_copies_that_are_not_whole(body: bytes, told: str) -> None:
    """Longer, shorter or other bytes than announced."""
    recording = Recording("a b.rnx", 3, hashlib.sha256(b"abc").hexdigest())

    def answer(request: httpx.Request) -> httpx.Response:
        assert request.url.raw_path == b"/recordings/a%20b.rnx"
        return httpx.Response(200, content=body)

    async with driven(answer) as driver:
        with pytest.raises(Garbled, match=told):
            async for _p in driver.fetch(recording, _forget):
                pass


async def _forget(_: bytes) -> None:
    """Take what comes."""


Server = Callable[[anyio.abc.SocketStream], Awaitable[None]]


@asynccontextmanager
async def served(*, image: Server) -> AsyncIterator[WebDriver]:
    """The driver before a real socket: the status is answered, and then ``image`` deals with the upload."""

    async def serve(stream: anyio.abc.SocketStream) -> None:
        async with stream:
            head = b""
            while b"\r\n\r\n" not in head:
                head += await stream.receive()
            if head.startswith(b"POST /image"):
                await image(stream)
                return
            body = httpx.Response(200, json=STATUS).content
            await stream.send(b"HTTP/1.1 200 OK\r\nConnection: close\r\nContent-Length: %d\r\n\r\n" % len(body) + body)

    listener = await anyio.create_tcp_listener(local_host="127.0.0.1")
    port = listener.extra(anyio.abc.SocketAttribute.local_port)  # noqa: S610  # no database in sight
    async with listener, anyio.create_task_group() as serving:
        serving.start_soon(listener.serve, serve)
        session = WebSession(lambda: Address(f"http://127.0.0.1:{port}"), QUICK)
        yield WebDriver(session, limits=QUICK)
        await session.aclose()
        serving.cancel_scope.cancel()


@pytest.mark.asyncio
async def test_cut_while_bytes_leave() -> None:
    """The connection ends before the image has left: cut, with the bytes that left."""

    async def hang_up(stream: anyio.abc.SocketStream) -> None:
        await stream.receive()

    image = bytes(20_000_000)
    async with served(image=hang_up) as driver:
        with pytest.raises(TransferCut) as cut:
            await write(driver, image, "7")
        assert 0 <= cut.value.sent_bytes < len(image)


@pytest.mark.asyncio
@pytest.mark.parametrize("patient", [True, False])
async def test_no_answer_after_all_bytes_left(patient: bool) -> None:  # a parameter of the test
    """Everything left, and then silence or the end of the connection: unknown."""

    async def swallow(stream: anyio.abc.SocketStream) -> None:
        come = b""
        while not come.endswith(b"--\r\n"):
            come += await stream.receive()
        if patient:
            await anyio.sleep_forever()

    async with served(image=swallow) as driver:
        with pytest.raises(OutcomeUnknown, match="the whole image was sent, but the answer is missing"):
            await write(driver, bytes(100_000), "7")


@pytest.mark.asyncio
async def test_the_body_is_a_form_that_a_stranger_reads() -> None:
    """httpx's own multipart body for the same file differs in the boundary only."""
    image = bytes(range(256)) * 100
    taken: list[bytes] = []

    def answer(request: httpx.Request) -> httpx.Response:
        if request.url.path == "/image" and request.method == "POST":
            taken.append(request.content)
            assert int(request.headers["content-length"]) == len(taken[0])
            return httpx.Response(202, json={"taken": len(image)})
        if request.url.path == "/image":
            return httpx.Response(200, json={"state": "done", "percent": 100})
        return httpx.Response(200, json=STATUS)

    session = WebSession(lambda: Address("http://192.0.2.1"), QUICK, Answering(answer))
    progress = await write(WebDriver(session, limits=QUICK), image, "7")
    await session.aclose()
    boundary = taken[0][2:34].decode()
    theirs = httpx.Request(
        "POST",
        "http://192.0.2.1/image",
        files={"image": ("image.fen", image, "application/octet-stream")},
        headers={"Content-Type": f"multipart/form-data; boundary={boundary}"},
    )
    assert taken[0] == theirs.read()
    assert progress[-1] == ("sending", len(image))


@pytest.mark.asyncio
async def test_out_of_reach_while_flashing() -> None:
    """Out of reach for too long: unknown, with what to do."""

    def answer(request: httpx.Request) -> httpx.Response:
        if request.url.path == "/status":
            return httpx.Response(200, json=STATUS)
        if request.method == "POST":
            return httpx.Response(202, json={"taken": 1})
        raise httpx.ConnectError("refused")

    session = WebSession(lambda: Address("http://192.0.2.1"), QUICK, Answering(answer))
    with pytest.raises(OutcomeUnknown, match="do not switch it off, read it back"):
        await write(WebDriver(session, limits=QUICK), b"image", "7")
    await session.aclose()


@pytest.mark.asyncio
async def test_restart_waits_for_the_same_unit() -> None:
    """Refused connections are waited out, under a limit; another serial is not trusted."""
    refusals = 3

    def answer(request: httpx.Request) -> httpx.Response:
        nonlocal refusals
        if request.url.path == "/restart":
            return httpx.Response(202)
        refusals -= 1
        if refusals > 0:
            raise httpx.ConnectError("refused")
        return httpx.Response(200, json=STATUS)

    async with driven(answer) as driver:
        await driver.restart(spent("7", Verb.RESTART, "0" * 64, 0))
        with pytest.raises(LinkGone, match="where unit 8 was, unit 7 answers now"):
            await driver.restart(spent("8", Verb.RESTART, "0" * 64, 0))
        refusals = 1_000_000
        with pytest.raises(LinkSilent, match=r"unit 7 did not come back: nobody answers at http://192\.0\.2\.1"):
            await driver.restart(spent("7", Verb.RESTART, "0" * 64, 0))


@pytest.mark.asyncio
@pytest.mark.parametrize(
    "body", [b"[" * 500_000, b'{"refused": "power", "words": "\\ud800\\u001b[2J' + b"w" * 100_000 + b'"}']
)
async def test_a_refusal_neither_nests_nor_talks_without_end(body: bytes) -> None:
    """What it says is bounded, and can be shown and recorded."""

    def answer(request: httpx.Request) -> httpx.Response:
        return httpx.Response(200, json=STATUS) if request.url.path == "/status" else httpx.Response(409, content=body)

    async with driven(answer) as driver:
        with pytest.raises((OutcomeUnknown, Refused)) as told:
            await write(driver, b"image", "7")
        assert str(told.value).isprintable()
        assert len(str(told.value)) < 3_000


@pytest.mark.asyncio
async def test_an_address_that_is_none() -> None:
    """A place that is no page is told."""
    with pytest.raises(InputError, match="expected http://address"):
        await make_driver("web", Place("/dev/ttyUSB0"))
