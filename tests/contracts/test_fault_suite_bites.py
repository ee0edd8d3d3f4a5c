"""The suite of faults finds what it is there to find: drivers that are wrong on purpose, each in one way."""

from __future__ import annotations

import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import replace
from importlib import import_module
from types import ModuleType
from typing import Any

import anyio
import pytest

from benchday.devices.drivers import Place
from benchday.domain.errors import Garbled, LinkSilent, OutcomeUnknown
from benchday.domain.readings import Identity, Mode, Settings
from benchday.testing.driver_deeds import FaultBed
from benchday.testing.driver_faults import Cell, Met, meet
from benchday.testing.faults import Fault
from tests.house.sizes import ROOT


@pytest.fixture(scope="module")
def example() -> Iterator[ModuleType]:
    """Give the example of a plug-in and its beds, as they lie in their folder."""
    before, modules = list(sys.path), set(sys.modules)
    sys.path.insert(0, str(ROOT / "tests" / "plugin_example"))
    try:
        import_module("teasel_driver")
        yield import_module("conformance")
    finally:
        sys.path[:] = before
        for name in {"teasel_driver", "teasel_unit", "conformance"} - modules:
            sys.modules.pop(name, None)


def met_by(example: ModuleType, wrong: dict[str, Any], cell: Cell, **stated: Any) -> Met:
    """Meet one cell with a driver that has some methods replaced."""

    @asynccontextmanager
    async def bed() -> AsyncIterator[FaultBed]:
        async with example.fault_bed() as right:
            teasel = sys.modules["teasel_driver"]
            kind = type("Wrong", (teasel.Teasel,), wrong)

            async def opened(patient: bool) -> Any:
                settings = {"poll_s": 0.02} if patient else example.HURRIED
                made = await teasel.make(Place(f"socket://127.0.0.1:{right.between.port}", settings))
                made.__class__ = kind
                return made

            yield replace(right, open=opened, **stated)

    (met,) = anyio.run(meet, bed, "line", (cell,))
    return met


async def hoards(self: Any) -> bytes:
    """Keep everything that comes without an end of line."""
    while b"\n" not in self._buffer:
        self._buffer = bytes(self._buffer) + await self._link.receive()
    line, _, self._buffer = self._buffer.partition(b"\n")
    await anyio.lowlevel.checkpoint()
    return bytes(line)


async def unlimited(self: Any, number: str, name: str, limit_s: float) -> tuple[str, ...]:
    """Wait for an answer for ever."""
    while True:
        body, _, _ = (await self._line()).rpartition(b" ")
        asked, *words = body.decode("ascii", "replace").split(" ")
        if asked == number and words[:1] == [name]:
            return tuple(words[1:])


async def believes(self: Any, act: object, settings: Any) -> None:
    """Take it for granted that what was said was heard."""
    for name, value in settings.values.items():
        await self._say("put", name, value)


async def lets_through(self: Any, act: object, settings: Any) -> None:
    """Read an answer without looking whether it is one."""
    int(b"17x")


def says_not_begun(error: type[Exception]) -> Any:
    """Return a write that tells every failure as if nothing had begun."""

    async def write(self: Any, image: bytes) -> AsyncIterator[object]:
        number = await self._say("image", str(len(image)))
        await self._link.send(image)
        yield None
        try:
            await self._answer(number, "taken", 0.1)
        except LinkSilent:
            raise error("something went wrong") from None

    return write


START = "from the start"


@pytest.mark.parametrize(
    ("wrong", "cell", "broken"),
    [
        ({"_answer": unlimited}, Cell("never answers", START, "identify"), "no end within 1 s"),
        ({"_line": hoards}, Cell("flood of text without an end of line", START, "identify"), "of an endless answer"),
        ({"put_settings": believes}, Cell("cable out", START, "put settings"), "has not changed its setting"),
        ({"put_settings": believes}, Cell("wrong baud rate", START, "put settings"), "has not changed its setting"),
        ({"put_settings": lets_through}, Cell("echo", START, "put settings"), "ValueError is no error of a unit"),
        ({"_write": says_not_begun(LinkSilent)}, Cell("never answers", START, "write"), "has lost its release"),
        ({"_write": says_not_begun(OutcomeUnknown)}, Cell("never answers", START, "write"), ""),
    ],
)
def test_found(example: ModuleType, wrong: dict[str, Any], cell: Cell, broken: str) -> None:
    """Told with the promise that was broken; what is right is not."""
    met = met_by(example, wrong, cell, limit_s=1.0, most_bytes=1 << 20)
    assert (met.broken is None) == (not broken)
    assert broken in (met.broken or "")


def test_a_right_driver_is_left_alone(example: ModuleType) -> None:
    """The same cells, with nothing wrong."""
    for fault in ("never answers", "flood of text without an end of line", "echo"):
        assert met_by(example, {}, Cell(fault, START, "identify"), most_bytes=1 << 20).broken is None


class Switch:
    """Stands between nothing: tells that a fault has begun."""

    visits, knows_another, on = 0, False, False

    async def begin(self, fault: Fault, after_bytes: int = 0) -> None:
        self.on = True

    async def end(self) -> None:
        self.on = False


class Holder:
    """Holds 0.7 MB during a fault, at first together with another one."""

    def __init__(self, switch: Switch, began: list[Switch], together: anyio.Event) -> None:
        self._switch, self._began, self._together = switch, began, together

    async def _holds(self) -> None:
        if self._switch.on:
            held = bytearray(700_000)
            self._began.append(self._switch)
            if len(self._began) > 1:
                self._together.set()
            await self._together.wait()
            raise Garbled(f"{len(held)} bytes are no answer")

    async def identify(self) -> Identity:
        await self._holds()
        return Identity("W1", "Holder", "A", Mode.RUN, "1.0")

    async def settings(self) -> Settings:
        await self._holds()
        return Settings({"beeper": "on"})

    async def aclose(self) -> None:
        pass


def test_who_is_measured_with_others_is_measured_again_alone() -> None:
    """Two hold what one may hold, at the same time: neither is told to hold too much."""
    began: list[Switch] = []
    together: list[anyio.Event] = []

    @asynccontextmanager
    async def bed() -> AsyncIterator[FaultBed]:
        switch = Switch()
        together.append(anyio.Event())

        async def opened(patient: bool) -> Holder:
            return Holder(switch, began, together[0])

        async def restored() -> None:
            pass

        unused: Any = None
        yield FaultBed(opened, switch, "W1", unused, unused, restored, most_bytes=1_000_000)

    row = tuple(Cell("flood", START, capability) for capability in ("identify", "settings"))
    both = anyio.run(meet, bed, "line", row)
    assert [met.broken for met in both] == [None, None]
    assert len(began) == 4
    assert all(700_000 < met.held_bytes < 1_000_000 for met in both)
