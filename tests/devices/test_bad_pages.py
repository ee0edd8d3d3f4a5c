"""The page driver before units that answer badly: real sockets, and what a person is told."""

from __future__ import annotations

from typing import Any

import anyio
import anyio.abc
import pytest

from benchday.devices.drivers.page import PageDriver
from benchday.devices.drivers.web_session import MOST_JSON_BYTES
from benchday.domain.errors import (
    Garbled,
    LinkForbidden,
    LinkGone,
    LinkSilent,
    OutcomeUnknown,
    Refused,
    TransferCut,
)
from benchday.domain.permits import Verb
from benchday.domain.readings import Recording
from tests.devices.acts import spent, write_act
from tests.devices.page_server import PLAIN, WHO, Answer, Asked, Deal, Told, as_json, driven, good


async def write(driver: PageDriver, image: bytes, serial: str = "7") -> list[tuple[str, int]]:
    """Write an image; gives the progress."""
    whole: Any = driver
    return [(p.what, p.done) async for p in whole.write(write_act(serial, image), image)]


async def fetch(driver: PageDriver, recording: Recording) -> bytes:
    """Fetch a recording."""
    whole: Any = driver
    got = bytearray()

    async def sink(piece: bytes) -> None:
        got.extend(piece)

    async for _ in whole.fetch(recording, sink):
        pass
    return bytes(got)


def instead(path: str, told: Told | Deal) -> Answer:
    """Answer like a good unit, but for one path."""

    def answer(asked: Asked) -> Told | Deal:
        return told if asked.path.partition("?")[0] == path else good(asked)

    return answer


@pytest.mark.asyncio
async def test_a_good_unit() -> None:
    """Each form of answer is read; lengths are asked for where the list tells none."""
    async with driven(good) as driver:
        whole: Any = driver
        assert (await driver.identify()).serial == "7"
        assert (await whole.power()).charge_percent == 55
        listed = await whole.recordings()
        assert listed == (Recording("a b.job", 4),)
        assert await fetch(driver, listed[0]) == b"abcd"
        assert (await write(driver, bytes(50_000)))[-1] == ("sending", 50_000)


@pytest.mark.asyncio
async def test_a_200_with_an_error_text() -> None:
    """An error told with 200 is a refusal; a 200 without the word for success is no success."""
    async with driven(instead("/power", as_json({"error": "hot", "words": "let it cool"}))) as driver:
        whole: Any = driver
        with pytest.raises(Refused, match="hot") as refused:
            await whole.power()
        assert refused.value.code == "hot"
    async with driven(instead("/image", as_json({"error": "crc"}))) as driver:
        with pytest.raises(TransferCut, match="took the image and then refused it"):
            await write(driver, b"image")
    async with driven(instead("/image", Told(200, b"<h1>Internal trouble</h1>"))) as driver:
        with pytest.raises(OutcomeUnknown, match="no success; read the unit back"):
            await write(driver, b"image")


@pytest.mark.asyncio
async def test_401_after_a_while() -> None:
    """Asked once more with user and password read anew; a second 401 is told as what it is."""
    asked: list[str] = []
    refuse = 0

    def answer(request: Asked) -> Told | Deal:
        asked.append(request.path)
        return Told(401) if asked.count("/power") == refuse and request.path == "/power" else good(request)

    async with driven(answer) as driver:
        whole: Any = driver
        refuse = 1
        assert (await whole.power()).charge_percent == 55
    assert asked == ["/who", "/power", "/power"]
    async with driven(instead("/power", Told(401))) as driver:
        whole = driver
        with pytest.raises(LinkForbidden, match="check user and password") as told:
            await whole.power()
        assert "heron" not in str(told.getrepr(style="long"))


@pytest.mark.asyncio
@pytest.mark.parametrize("where", ["http://198.51.100.7/who", "https://127.0.0.1/who", "http://127.0.0.1:1/who"])
async def test_a_redirect_to_another_address(where: str) -> None:
    """Another host, another scheme, another port: named, refused, never asked."""
    async with driven(instead("/who", Told(302, headers={"Location": where}))) as driver:
        with pytest.raises(Refused, match="that is never followed") as refused:
            await driver.identify()
        assert where.rsplit("/", 1)[0] in str(refused.value)


@pytest.mark.asyncio
async def test_a_redirect_on_the_unit_itself() -> None:
    """Followed, a few times; in circles it is given up."""
    moved = instead("/who", Told(302, headers={"Location": "/power"}))
    async with driven(
        moved, PLAIN.replace("$.serial", "$.charge").replace("$.release", "$.charge"), unit="55"
    ) as driver:
        assert (await driver.identify()).serial == "55"
    async with driven(instead("/who", Told(302, headers={"Location": "/who"}))) as driver:
        with pytest.raises(Garbled, match="points on and on"):
            await driver.identify()


@pytest.mark.asyncio
async def test_an_endless_body() -> None:
    """Given up at the limit of size, not of patience."""
    sent = 0

    async def pour(stream: anyio.abc.ByteStream) -> None:
        nonlocal sent
        await stream.send(b"HTTP/1.1 200 OK\r\nConnection: close\r\n\r\n")
        while True:
            await stream.send(bytes(1 << 16))
            sent += 1 << 16

    async with driven(instead("/who", pour), answer_s=30.0) as driver:
        with pytest.raises(Garbled, match=f"larger than {MOST_JSON_BYTES} bytes"):
            await driver.identify()
    assert sent < 40 * MOST_JSON_BYTES


@pytest.mark.asyncio
async def test_a_slow_drip() -> None:
    """Each byte comes in time, the whole does not."""

    async def drip(stream: anyio.abc.ByteStream) -> None:
        await stream.send(b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n")
        while True:
            await stream.send(b" ")
            await anyio.sleep(0.05)

    async with driven(instead("/who", drip)) as driver:
        with pytest.raises(LinkSilent, match=r"does not answer in 0\.5 s"):
            await driver.identify()


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("body", "told"),
    [
        (b"<html>", "is no JSON"),
        (b"[" * 500_000, "is no JSON"),
        (b"{}", "does not tell the serial"),
        (b'{"serial": [], "release": "1"}', "does not tell the serial"),
        (b'{"serial": "\\u001b[2J", "release": "1"}', "for the serial, which can be none"),
        (b'{"serial": "' + b"7" * 20_000 + b'", "release": "1"}', "20000 characters"),
    ],
)
async def test_answers_that_cannot_be_read(body: bytes, told: str) -> None:
    """Wrong JSON, missing values, what no serial can be; nothing of it reaches a terminal raw."""
    async with driven(instead("/who", Told(200, body))) as driver:
        with pytest.raises(Garbled, match=told) as garbled:
            await driver.identify()
        assert "\x1b" not in str(garbled.value)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    "challenge",
    [
        "Digest",
        'Digest realm="u". nonce="n"',
        'Digest realm="u", nonce="n", qop=',
        'Digest realm="u", nonce="n", qop=,auth"',
        'Digest realm="u", nonce="n", qop="auth0"',
        'Digest realm="u", nonce="n", algorithm=ROT13',
        "Digest " + "a=b, " * 2000,
    ],
)
async def test_a_challenge_that_is_none(challenge: str) -> None:
    """A sign-in that nobody can answer is an error of the unit, and tells no password."""
    page = PLAIN.replace("way: basic", "way: digest")

    def answer(_: Asked) -> Told:
        return Told(401, headers={"WWW-Authenticate": challenge})

    async with driven(answer, page) as driver:
        with pytest.raises((Garbled, LinkForbidden)) as told:
            await driver.identify()
        assert "heron" not in str(told.getrepr(style="long"))


@pytest.mark.asyncio
async def test_a_page_nested_beyond_belief() -> None:
    """A parser that needs minutes for it is not asked."""
    async with driven(instead("/list", Told(200, b"<div>" * 100_000))) as driver:
        whole: Any = driver
        with pytest.raises(Garbled, match="elements, which is not believed"):
            await whole.recordings()


@pytest.mark.asyncio
async def test_more_items_than_anybody_has() -> None:
    """A list is believed up to a limit."""
    many = b'<li class="file"><a>x</a>' * 1001
    async with driven(instead("/list", Told(200, many))) as driver:
        whole: Any = driver
        with pytest.raises(Garbled, match="lists 1001 items"):
            await whole.recordings()


@pytest.mark.asyncio
@pytest.mark.parametrize("name", ["../../etc/passwd", "a\\b", "", "..", "x\x07y"])
async def test_names_that_are_no_files(name: str) -> None:
    """A recording's name is a name, not a path."""
    async with driven(instead("/list", Told(200, f'<li class="file"><a>{name}</a>'.encode()))) as driver:
        whole: Any = driver
        with pytest.raises(Garbled, match=r"can be no file|cannot be asked for"):
            await whole.recordings()


@pytest.mark.asyncio
async def test_another_serial() -> None:
    """The serial is read before anything else; of another unit nothing else is ever asked."""
    asked: list[str] = []

    def answer(request: Asked) -> Told | Deal:
        asked.append(request.path)
        return good(request)

    async with driven(answer, unit="8") as driver:
        whole: Any = driver
        for attempt in (whole.power, whole.recordings):
            with pytest.raises(LinkGone, match="where unit 8 should be, unit '7' answers"):
                await attempt()
        with pytest.raises(LinkGone, match="nothing was changed"):
            await write(driver, b"image", "8")
        with pytest.raises(LinkGone, match="nothing was changed"):
            await whole.restart(spent("8", Verb.RESTART, "0" * 64, 0))
        assert (await driver.identify()).serial == "7"
    assert set(asked) == {"/who"}


@pytest.mark.asyncio
async def test_closed_in_the_middle_of_an_upload() -> None:
    """Cut, with the bytes that left."""

    async def hang_up(stream: anyio.abc.ByteStream) -> None:
        await stream.receive()

    image = bytes(20_000_000)
    async with driven(instead("/image", hang_up)) as driver:
        with pytest.raises(TransferCut, match="may be half written") as cut:
            await write(driver, image)
        assert 0 <= cut.value.sent_bytes < len(image)


@pytest.mark.asyncio
async def test_no_answer_after_the_whole_image() -> None:
    """Everything left, and then silence: unknown."""
    image = bytes(100_000)

    async def swallow(stream: anyio.abc.ByteStream) -> None:
        await anyio.sleep_forever()

    def answer(asked: Asked) -> Told | Deal:
        return swallow if asked.path == "/image" and asked.body else good(asked)

    async with driven(answer) as driver:
        with pytest.raises(OutcomeUnknown, match="the whole image was sent, but the answer is missing"):
            await write(driver, image)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("body", "error", "told"),
    [
        (b"state=failed;", TransferCut, "flash ended early"),
        (b"state=purple;", OutcomeUnknown, "which the playbook does not explain"),
        (b"nothing", OutcomeUnknown, "do not switch it off"),
    ],
)
async def test_a_write_whose_end_is_told_badly(body: bytes, error: type[Exception], told: str) -> None:
    """A failure, an unknown word, none at all."""
    async with driven(instead("/progress", Told(200, body))) as driver:
        with pytest.raises(error, match=told):
            await write(driver, b"image")


@pytest.mark.asyncio
async def test_a_copy_that_is_not_whole() -> None:
    """Shorter than the length asked for before."""
    async with driven(instead("/files/x", Told(200, b"ab"))) as driver:
        with pytest.raises(Garbled, match="differs from what is on the unit"):
            await fetch(driver, Recording("x", 3))
        with pytest.raises(Garbled, match="longer than the 1 bytes"):
            await fetch(driver, Recording("x", 1))


@pytest.mark.asyncio
async def test_a_restart_that_does_not_happen_and_one_that_does() -> None:
    """A unit that goes on answering did not restart; one that runs another release afterwards did."""
    async with driven(good) as driver:
        whole: Any = driver
        with pytest.raises(LinkSilent, match="was told to restart and did not"):
            await whole.restart(spent("7", Verb.RESTART, "0" * 64, 0))
    release = "1.0"

    def answer(asked: Asked) -> Told | Deal:
        nonlocal release
        if asked.path == "/restart":
            release = "2.0"
        return as_json({**WHO, "release": release}) if asked.path == "/who" else good(asked)

    async with driven(answer) as driver:
        whole = driver
        await whole.restart(spent("7", Verb.RESTART, "0" * 64, 0))
