"""Beds for faults: simulated units in processes of their own, with a relay before each."""

from __future__ import annotations

import json
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import AbstractAsyncContextManager, ExitStack, asynccontextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import anyio
import anyio.to_thread

from benchday.devices.drivers import Place, make_driver
from benchday.devices.links import open_link
from benchday.domain.playbook import Playbook
from benchday.testing.driver_deeds import FaultBed, Seen
from benchday.testing.relay import Reach, over_tcp, relay
from tests.devices.acts import image_for, spent
from tests.devices.pages import hurried_page
from tests.simulators.stranger import SERIAL, Process, unit

OTHER = "007421530026"
SPEED = 20_000
IMAGE_BYTES = 6_000
PATIENT = {"poll_s": 0.05}
HURRIED = {"poll_s": 0.02, "restart_s": 1.0, "test_s": 0.15, "flash_s": 0.4, "image_s": 0.3}


@dataclass(frozen=True, slots=True)
class Kind:
    """A driver on a simulated model, and how it is hurried."""

    way: str
    """line or page"""
    driver: str
    model: str
    hurried: Mapping[str, Any]
    """Settings by which it waits for nothing long."""
    playbook: Playbook | None = None
    """For a driver that is told in one what to say."""
    can: tuple[str, ...] = ()
    """What such a driver can do, by that playbook."""


KINDS: dict[str, Kind] = {
    "console on a Millrace": Kind(
        "line",
        "console",
        "Millrace",
        HURRIED
        | {
            "answer_s": 0.08,
            "hello_s": 0.1,
            "sky_s": 0.1,
            "transfer_start_s": 0.5,
            "transfer_answer_s": 0.05,
            "transfer_end_s": 0.1,
            "transfer_ask_s": 0.05,
            "transfer_still_s": 1.0,
            "transfer_block_s": 0.1,
            "transfer_quiet_s": 0.05,
        },
    ),
    "web on an Osier": Kind(
        "page", "web", "Osier", HURRIED | {"answer_s": 0.1, "settle_s": 0.05, "fetch_bytes_per_s": 200_000}
    ),
    "page on an Osier": Kind(
        "page",
        "page",
        "Osier",
        HURRIED | {"answer_s": 0.1, "settle_s": 0.05, "fetch_bytes_per_s": 200_000},
        hurried_page(),
        ("identify", "power", "recordings", "fetch", "settings", "put settings", "write", "restart", "self-test"),
    ),
}
"""A driver more is a line more here."""


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
async def fault_bed(kind: Kind) -> AsyncIterator[FaultBed]:
    """A unit, another one, and a relay before them."""
    with ExitStack() as processes:
        folder = Path(processes.enter_context(tempfile.TemporaryDirectory()))
        ours = processes.enter_context(unit(kind.model, folder / SERIAL, speed=SPEED))
        ours.hand(do="external power", on=True)
        another = partial(unit, kind.model, folder / OTHER, serial_number=OTHER, speed=SPEED)
        others: list[Process] = []

        async def other() -> Any:
            if not others:  # most of what is met on a bed needs none
                others.append(await anyio.to_thread.run_sync(processes.enter_context, another()))
            return await reach(kind, others[0])()

        async with relay(reach(kind, ours), other=other, page=kind.way == "page") as between:
            yield FaultBed(
                open=opener(kind, ours, between.port),
                between=between,
                serial=SERIAL,
                other_serial=OTHER,
                make_act=partial(spent, SERIAL),
                seen=partial(seen, ours),
                restore=partial(restore, ours),
                image=image_for(kind.model, "A B C D E", size=IMAGE_BYTES),
                setting=("elevation_mask_deg", ("11", "12")),
                limit_s=40.0,  # a busy computer stretches what the drivers' own limits add up to
                most_bytes=4 << 20,  # several are measured at once
            )


def opener(kind: Kind, process: Process, port: int) -> Callable[[bool], Awaitable[Any]]:
    """Return what opens the driver at the relay."""
    scheme = "http" if kind.way == "page" else "socket"
    settings: dict[str, Any] = {}
    if kind.way == "page":
        told = json.loads(process.link.read_text())
        settings |= {"user": told["user"], "password": told["password"]}
    where = f"{scheme}://127.0.0.1:{port}"

    async def open_driver(patient: bool) -> Any:
        at = Place(where, {**settings, **(PATIENT if patient else kind.hurried)}, playbook=kind.playbook, unit=SERIAL)
        return await make_driver(kind.driver, at)

    return open_driver


def bed_of(name: str) -> Callable[[], AbstractAsyncContextManager[FaultBed]]:
    """Return the maker of one kind of bed."""
    return partial(fault_bed, KINDS[name])
