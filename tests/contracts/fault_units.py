"""Simulated units in processes of their own, with a relay before each, for faults of lines and pages."""

from __future__ import annotations

import json
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import ExitStack, asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import anyio
import anyio.to_thread

from benchday.devices.drivers import Place, make_driver
from benchday.devices.links import open_link
from benchday.testing.driver_deeds import FaultBed, Seen
from benchday.testing.relay import Reach, over_tcp, relay
from tests.contracts.fault_kinds import Kind
from tests.devices.acts import image_for, spent
from tests.simulators.stranger import SERIAL, Process, unit

OTHER = "007421530026"
SPEED = 20_000
IMAGE_BYTES = 6_000
PATIENT: Mapping[str, Any] = {"poll_s": 0.05}
HURRIED: Mapping[str, Any] = {"poll_s": 0.02, "restart_s": 1.0, "test_s": 0.15, "flash_s": 0.4, "image_s": 0.3}
HURRIED_TRANSFER: Mapping[str, Any] = {
    "transfer_start_s": 0.5,
    "transfer_answer_s": 0.05,
    "transfer_next_s": 0.3,
    "transfer_end_s": 0.1,
    "transfer_ask_s": 0.05,
    "transfer_still_s": 1.0,
    "transfer_block_s": 0.1,
    "transfer_quiet_s": 0.05,
    "last_words_s": 0.3,
}
LIMIT_S = 40.0
"""A busy computer stretches what the drivers' own limits add up to."""
MOST_BYTES = 4 << 20
"""Of one endless answer: a page's may have 1 MiB, and is held in pieces, as a whole and as what is read in it."""


def seen(process: Process) -> Seen:
    """Read what the unit itself keeps of what happened to it."""
    log, state = process.log(), process.state()
    settings = dict(state["settings"])
    settings |= {line["name"]: line["to"] for line in log if line["what"] == "settings"}
    whole = [line["sha256"] for line in log if line["what"] == "image_end" and line["outcome"] == "whole"]
    begun = sum(line["what"] == "image_begin" for line in log)
    return Seen(begun, whole, settings, state["booted_at_s"])


async def restore(process: Process) -> None:
    """Switch the unit off and on."""
    process.hand(do="switch", on=False)
    process.hand(do="switch", on=True)
    await anyio.sleep(0.25)


def reach(kind: Kind, process: Process) -> Reach:
    """Return the way to a unit."""
    if kind.way == "line":
        return partial(open_link, str(process.link))

    async def connect() -> Any:
        # After a restart a unit may serve its page at another port.
        told = urlsplit(json.loads(await anyio.Path(process.link).read_text())["url"])
        return await over_tcp(told.hostname or "", told.port or 0)()

    return connect


@asynccontextmanager
async def served(kind: Kind, *more: str) -> AsyncIterator[tuple[Process, Callable[[], Awaitable[Process]]]]:
    """Serve a unit, and another one of its model for whoever asks."""
    with ExitStack() as processes:
        folder = Path(processes.enter_context(tempfile.TemporaryDirectory()))
        start = partial(unit, kind.model, speed=SPEED)
        ours = await anyio.to_thread.run_sync(
            processes.enter_context, start(folder / SERIAL, *kind.serve, *more, serial_number=SERIAL)
        )
        ours.hand(do="external power", on=True)
        others: list[Process] = []
        starting = anyio.Lock()  # two connections may ask at once

        async def other() -> Process:
            async with starting:
                if not others:  # most of what is met on a bed needs none
                    another = start(folder / OTHER, *kind.serve, serial_number=OTHER)
                    others.append(await anyio.to_thread.run_sync(processes.enter_context, another))
            return others[0]

        yield ours, other


@asynccontextmanager
async def relayed_bed(kind: Kind) -> AsyncIterator[FaultBed]:
    """A unit, another one, and a relay before them."""
    async with served(kind) as (ours, other):

        async def reach_other() -> Any:
            return await reach(kind, await other())()

        async with relay(reach(kind, ours), other=reach_other, page=kind.way == "page") as between:
            scheme = "http" if kind.way == "page" else "socket"
            yield bed_on(
                kind, ours, between, opened_at(kind, f"{scheme}://127.0.0.1:{between.port}", _password(kind, ours))
            )


def bed_on(kind: Kind, ours: Process, between: Any, opened: Callable[[bool], Awaitable[Any]], **more: Any) -> FaultBed:
    """Put a bed together."""
    told: dict[str, Any] = {
        "serial": SERIAL,
        "other_serial": OTHER,
        "make_act": partial(spent, SERIAL),
        "seen": partial(seen, ours),
        "restore": partial(restore, ours),
        "image": image_for(kind.model, "A B C D E F G", size=IMAGE_BYTES),
        "setting": kind.setting,
        "limit_s": LIMIT_S,
        "most_bytes": MOST_BYTES,
    }
    return FaultBed(opened, between, **(told | more))


def _password(kind: Kind, process: Process) -> Mapping[str, Any]:
    if kind.way != "page":
        return {}
    told = json.loads(process.link.read_text())
    return {"user": told["user"], "password": told["password"]}


def opened_at(kind: Kind, where: str, settings: Mapping[str, Any], **more: Any) -> Callable[[bool], Awaitable[Any]]:
    """Return what opens the driver at a place."""

    async def open_driver(patient: bool) -> Any:
        limits = (PATIENT if kind.patient is None else kind.patient) if patient else kind.hurried
        book = kind.playbook if patient else kind.hurried_playbook or kind.playbook
        return await make_driver(kind.driver, Place(where, {**settings, **limits}, playbook=book, unit=SERIAL, **more))

    return open_driver
