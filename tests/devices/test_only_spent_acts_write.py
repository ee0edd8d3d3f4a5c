"""Whatever changes a unit takes a spent act: nothing else gets a single byte out."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import anyio
import httpx
import pytest

from benchday.devices.completed import completed
from benchday.devices.drivers import DRIVERS
from benchday.devices.drivers.by_hand import ByHandDriver
from benchday.devices.drivers.by_hand_questions import Question
from benchday.devices.drivers.console import ConsoleDriver
from benchday.devices.drivers.dialogue import DialogueDriver
from benchday.devices.drivers.smp import SmpDriver
from benchday.devices.drivers.smp_line import Carrier, LineCarrier, SmpLine
from benchday.devices.drivers.smp_settings import SmpLimits, SmpSources
from benchday.devices.drivers.storage import StorageDriver, StorageLimits
from benchday.devices.drivers.watch import WatchDriver, WatchLimits
from benchday.devices.drivers.web import WebDriver
from benchday.devices.drivers.web_session import Address, WebLimits, WebSession
from benchday.devices.links.drive import Drive
from benchday.devices.links.memory import memory_pair
from benchday.domain.errors import PermitRefused
from benchday.domain.permits import Verb
from benchday.domain.readings import Settings
from benchday.domain.seams import CanPutSettings, CanRestart, CanWrite, Link
from benchday.domain.storage import Storage
from tests.devices.acts import permit_for, spent, write_act
from tests.devices.declared import gantry
from tests.devices.page_server import PLAIN, Asked, Told, driven

IMAGE = b"an image"
DIGEST = hashlib.sha256(IMAGE).hexdigest()
SETTINGS = Settings({"role": "base"})
OTHER = b"another image"


class Watched:
    """A driver and everything that reached its unit or operator."""

    def __init__(self) -> None:
        self.reached: list[object] = []
        self.driver: object = None


@asynccontextmanager
async def on_a_line(make: Callable[[Link, Callable[[], Awaitable[Link]]], object]) -> AsyncIterator[Watched]:
    """A driver on a line; every byte is seen."""
    watched = Watched()
    link, far = memory_pair()

    async def reopen() -> Link:
        raise AssertionError("the line was opened again")

    async def watch() -> None:
        while True:
            watched.reached.append(await far.receive())

    watched.driver = make(link, reopen)
    async with anyio.create_task_group() as watching:
        watching.start_soon(watch)
        yield watched
        await anyio.wait_all_tasks_blocked()
        watching.cancel_scope.cancel()


def declared(link: Link, reopen: Callable[[], Awaitable[Link]]) -> DialogueDriver:
    """The driver of declared dialogues, with the Gantry's, which begins by waking the unit."""
    told = gantry().dialogue
    assert told is not None
    return DialogueDriver(link, reopen, told, "1")


@asynccontextmanager
async def smp() -> AsyncIterator[Watched]:
    """The SMP driver; every byte is seen."""
    watched = Watched()
    link, far = memory_pair()

    async def reopen() -> Carrier:
        raise AssertionError("the line was opened again")

    async def watch() -> None:
        while True:
            watched.reached.append(await far.receive())

    watched.driver = SmpDriver(SmpLine(LineCarrier(link), reopen, SmpLimits()), SmpSources("serial", settings="role"))
    async with anyio.create_task_group() as watching:
        watching.start_soon(watch)
        yield watched
        await anyio.wait_all_tasks_blocked()
        watching.cancel_scope.cancel()


@asynccontextmanager
async def web() -> AsyncIterator[Watched]:
    """The web driver; every request is seen."""
    watched = Watched()

    def answer(request: httpx.Request) -> httpx.Response:
        watched.reached.append(request)
        return httpx.Response(500)

    session = WebSession(lambda: Address("http://192.0.2.1"), WebLimits(), httpx.MockTransport(answer))
    watched.driver = WebDriver(session)
    yield watched
    await session.aclose()


@asynccontextmanager
async def page() -> AsyncIterator[Watched]:
    """The page driver; every request is seen."""
    watched = Watched()

    def answer(asked: Asked) -> Told:
        watched.reached.append(asked)
        return Told(500)

    settings = "put_settings: {request: {method: POST, path: /settings, fields: {value: {put: value}}}}\n"
    async with driven(answer, PLAIN + settings) as driver:
        watched.driver = driver
        yield watched


@asynccontextmanager
async def by_hand() -> AsyncIterator[Watched]:
    """The by-hand driver; every question is seen."""
    watched = Watched()

    async def ask(question: Question) -> Mapping[str, object]:
        watched.reached.append(question)
        return {}

    watched.driver = ByHandDriver(ask)
    yield watched


@asynccontextmanager
async def storage() -> AsyncIterator[Watched]:
    """The storage driver, completed by hand; every question and everything on the drive is seen."""
    watched = Watched()

    async def ask(question: Question) -> Mapping[str, object]:
        watched.reached.append(question)
        return {}

    with TemporaryDirectory() as root:
        drive = Drive(Path(root))
        driver = StorageDriver(drive, lambda: drive, Storage(image="NEW.BIN"), ask, unit="1", limits=StorageLimits())
        watched.driver = completed(driver, ByHandDriver(ask))
        yield watched
        watched.reached += Path(root).iterdir()


@asynccontextmanager
async def watch() -> AsyncIterator[Watched]:
    """The watcher, completed by hand; every question and every byte is seen."""
    async with by_hand() as watched, anyio.create_task_group() as watching:
        link, far = memory_pair()

        async def listen() -> None:
            while True:
                watched.reached.append(await far.receive())

        watching.start_soon(listen)
        watched.driver = completed(WatchDriver(link, WatchLimits()), watched.driver)
        yield watched
        await anyio.wait_all_tasks_blocked()
        watching.cancel_scope.cancel()


@asynccontextmanager
async def by_hand_completed() -> AsyncIterator[Watched]:
    """The same, behind a completed driver."""
    async with by_hand() as watched:
        watched.driver = completed(object(), watched.driver)
        yield watched


MAKERS: Mapping[str, Callable[[], AbstractAsyncContextManager[Watched]]] = {
    "console": partial(on_a_line, ConsoleDriver),
    "dialogue": partial(on_a_line, declared),
    "smp": smp,
    "web": web,
    "page": page,
    "storage": storage,
    "watch": watch,
    "by-hand": by_hand,
    "completed": by_hand_completed,
}


def no_acts() -> dict[str, object]:
    """Everything that might be handed in and is no fresh act for this image or these settings."""
    used = write_act("1", IMAGE)
    used.use(Verb.WRITE_IMAGE, DIGEST)
    settings_used = spent("1", Verb.PUT_SETTINGS, SETTINGS.digest, 1)
    settings_used.use(Verb.PUT_SETTINGS, SETTINGS.digest)
    return {
        "nothing": None,
        "True": True,
        "a permit": permit_for("1", Verb.WRITE_IMAGE, DIGEST, len(IMAGE)),
        "a used act": used,
        "another image's act": write_act("1", OTHER),
        "a used act for settings": settings_used,
        "other settings' act": spent("1", Verb.PUT_SETTINGS, "0" * 64, 1),
    }


async def try_write(driver: object, act: object) -> None:
    assert isinstance(driver, CanWrite)
    async for _ in driver.write(act, IMAGE):  # type: ignore[arg-type]  # that is the question
        pass


async def try_settings(driver: object, act: object) -> None:
    assert isinstance(driver, CanPutSettings)
    await driver.put_settings(act, SETTINGS)  # type: ignore[arg-type]  # that is the question


async def try_restart(driver: object, act: object) -> None:
    assert isinstance(driver, CanRestart)
    await driver.restart(act)  # type: ignore[arg-type]  # that is the question


def test_every_built_in_driver_is_here() -> None:
    """A new driver cannot be forgotten."""
    assert set(DRIVERS) <= set(MAKERS)


@pytest.mark.asyncio
@pytest.mark.parametrize("maker", MAKERS)
@pytest.mark.parametrize(
    ("attempt", "act"),
    [
        (attempt, act)
        for attempt in (try_write, try_settings, try_restart)
        for act in no_acts()
        # A used act of a write is what covers the restart that belongs to it.
        if (attempt, act) != (try_restart, "a used act")
    ],
)
async def test_refused_before_anything_leaves(
    attempt: Callable[[object, object], Awaitable[None]], act: str, maker: str
) -> None:
    """Refused with a reason, and neither unit nor operator hears of it."""
    async with MAKERS[maker]() as watched:
        with pytest.raises(PermitRefused, match=r"\w{4}"):
            await attempt(watched.driver, no_acts()[act])
    assert watched.reached == []
