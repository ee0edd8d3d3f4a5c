"""The example's own test run: python -m pytest conformance.py, where benchday and teasel-driver are installed."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial
from typing import Any

import anyio
import pytest
from teasel_unit import TeaselUnit

from benchday.devices.drivers import Place, make_driver
from benchday.domain.permits import Act, ConfirmedBy, Permit, SpentAct, Verb, mint_spent_act
from benchday.domain.seams import capabilities
from benchday.testing.driver_deeds import FaultBed, Seen
from benchday.testing.driver_faults import cells, meet
from benchday.testing.drivers import CHECKS, Bed, MakeBed
from benchday.testing.relay import over_tcp, relay

SERIAL, OTHER = "4411", "4429"
IMAGE = b"2.0     " + bytes(range(256)) * 24
HURRIED = {"answer_s": 0.1, "image_s": 0.2, "restart_s": 0.5, "poll_s": 0.02}


def act_for(verb: Verb, digest: str, size: int) -> SpentAct:
    """Make an act for a unit that is a program. Nothing but a test may do this: a real unit takes a person's permit."""
    permit = Permit(
        unit=SERIAL,
        model="Teasel",
        hardware="A",
        acts=(Act(verb, digest, size),),
        losses=(),
        playbook_digest="0" * 64,
        operator="tests",
        confirmed_by=ConfirmedBy.PERSON,
        station="tests",
        given_us=0,
        expires_mono_us=1,
        nonce="0" * 32,
    )
    return mint_spent_act(permit, 0)


@asynccontextmanager
async def serving(serial: str) -> AsyncIterator[tuple[TeaselUnit, int]]:
    """Serve a unit on loopback."""
    unit = TeaselUnit(serial)
    server = await asyncio.start_server(unit.serve, "127.0.0.1", 0)
    try:
        yield unit, server.sockets[0].getsockname()[1]
    finally:
        server.close()


async def opened(port: int, patient: bool = True) -> Any:
    """Open the driver by its name, as a day does."""
    return await make_driver("teasel", Place(f"socket://127.0.0.1:{port}", {"poll_s": 0.02} if patient else HURRIED))


@asynccontextmanager
async def bed() -> AsyncIterator[Bed]:
    """The driver on a unit."""
    async with serving(SERIAL) as (_, port):
        driver = await opened(port)
        yield Bed(driver, SERIAL, IMAGE, "2.0", act_for, {})
        await driver.aclose()


@asynccontextmanager
async def fault_bed() -> AsyncIterator[FaultBed]:
    """The driver on a unit, with a relay between."""
    async with serving(SERIAL) as (unit, port), serving(OTHER) as (_, other):
        reach, reach_other = over_tcp("127.0.0.1", port), over_tcp("127.0.0.1", other)
        async with relay(reach, other=reach_other) as between:

            async def restore() -> None:
                unit.restored()

            yield FaultBed(
                open=partial(opened, between.port),
                between=between,
                serial=SERIAL,
                other_serial=OTHER,
                make_act=act_for,
                seen=lambda: Seen(unit.begun, tuple(unit.taken), dict(unit.settings), unit.starts),
                restore=restore,
                image=IMAGE,
                setting=("beeper", ("on", "off")),
            )


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_promise(check: Callable[[MakeBed], Awaitable[None]]) -> None:
    """Each promise of a driver."""
    anyio.run(check, bed)


def test_faults() -> None:
    """Each capability under each fault of a line."""

    async def run() -> None:
        async with bed() as at_hand:
            able = capabilities(at_hand.driver)
        assert able == ("identify", "settings", "put settings", "write", "restart")
        met = await meet(fault_bed, "line", cells("line", able))
        assert [f"{one.cell}: {one.broken} ({one.ended})" for one in met if one.broken] == []
        assert len(met) > 60

    anyio.run(run)
