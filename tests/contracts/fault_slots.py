"""Beds of a unit with two image slots, over its line and by datagrams: it takes no image twice in a row."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial
from importlib.resources import files
from itertools import count
from urllib.parse import urlsplit

import anyio
from ruamel.yaml import YAML

from benchday.testing.datagram_faults import Address, datagram_relay
from benchday.testing.driver_deeds import FaultBed
from benchday.testing.relay import relay
from tests.contracts.fault_kinds import Kind
from tests.contracts.fault_units import IMAGE_BYTES, bed_on, opened_at, reach, restore, served
from tests.devices.slot_images import slot_image
from tests.simulators.stranger import Process

_TOLD = YAML(typ="safe").load((files("benchday_playbooks") / "wherry.yaml").read_text(encoding="utf-8"))
_SOURCES = {name: value for name, value in _TOLD["driver"]["settings"].items() if name != "baud"}


@asynccontextmanager
async def slots_bed(kind: Kind) -> AsyncIterator[FaultBed]:
    """A unit, another one, and a relay before them."""
    numbers = count(1)

    def fresh_image() -> bytes:
        number = next(numbers)
        return slot_image(f"9.9.{number}", IMAGE_BYTES, seed=number)[0]

    async with served(kind) as (ours, other):
        more = {"fresh_image": fresh_image, "after_write": partial(as_before, ours)}
        if kind.way == "datagrams":
            async with datagram_relay(_at(_same(ours)), other=_at(other)) as datagrams:
                where = f"udp://127.0.0.1:{datagrams.port}"
                yield bed_on(kind, ours, datagrams, opened_at(kind, where, _SOURCES), **more)
            return

        async def reach_other() -> object:
            return await reach(kind, await other())()

        async with relay(reach(kind, ours), other=reach_other) as line:  # type: ignore[arg-type]  # a way, of any kind
            yield bed_on(kind, ours, line, opened_at(kind, f"socket://127.0.0.1:{line.port}", _SOURCES), **more)


async def as_before(process: Process) -> None:
    """Start the unit anew until it runs a confirmed image and none waits: a trial nobody confirms goes back."""
    while (slots := process.state()["slots"])["marked"] or not slots["confirmed"]:
        await restore(process)


def _same(process: Process) -> Callable[[], Awaitable[Process]]:
    async def it() -> Process:
        return process

    return it


def _at(of: Callable[[], Awaitable[Process]]) -> Callable[[], Awaitable[Address]]:
    """Return what tells where a unit listens now."""

    async def where() -> Address:
        told = urlsplit(json.loads(await anyio.Path((await of()).link).read_text())["url"])
        return told.hostname or "", told.port or 0

    return where
