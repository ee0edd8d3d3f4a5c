"""Beds of receivers that stream sentences by themselves: programs on loopback, with a relay before them."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from functools import partial

import anyio
import anyio.abc

from benchday.devices import nmea
from benchday.testing.driver_deeds import FaultBed, Seen
from benchday.testing.relay import over_tcp, relay
from tests.contracts.fault_kinds import Kind
from tests.contracts.fault_units import LIMIT_S, MOST_BYTES, OTHER, opened_at
from tests.devices.acts import spent
from tests.simulators.stranger import SERIAL

EVERY_S = 0.01
_SENTENCES = (
    "GNGGA,120000.00,1234.56780,N,02345.67890,W,4,14,0.8,89.0,M,31.2,M,1.0,0001",
    "GNGSA,A,3,03,04,05,06,07,08,09,,,,,,1.4,0.8,1.1,1",
    "GNRMC,120000.00,A,1234.56780,N,02345.67890,W,0.0,0.0,270126,,,R",
)


async def _stream(serial: str, listener: anyio.abc.SocketStream) -> None:
    bodies = (*_SENTENCES, f"GNTXT,01,01,02,SN={serial} FW=3.1")
    burst = b"".join(f"${body}*{nmea.checksum(body.encode()):02X}\r\n".encode() for body in bodies)
    with suppress(anyio.BrokenResourceError, anyio.ClosedResourceError):
        async with listener:
            while True:
                await listener.send(burst)
                await anyio.sleep(EVERY_S)


@asynccontextmanager
async def _receiver(serial: str) -> AsyncIterator[int]:
    """Serve one; gives its port."""
    async with (
        await anyio.create_tcp_listener(local_host="127.0.0.1") as served,
        anyio.create_task_group() as tasks,
    ):
        tasks.start_soon(served.serve, partial(_stream, serial))
        try:
            yield served.extra(anyio.abc.SocketAttribute.local_port)  # noqa: S610  # no database in sight
        finally:
            tasks.cancel_scope.cancel()


async def _nothing() -> None:
    """There is nothing to switch off and on: it streams, whatever happens."""


@asynccontextmanager
async def stream_bed(kind: Kind) -> AsyncIterator[FaultBed]:
    """A receiver, another one, and a relay before them."""
    async with _receiver(SERIAL) as ours, _receiver(OTHER) as other:
        reach, reach_other = over_tcp("127.0.0.1", ours), over_tcp("127.0.0.1", other)
        async with relay(reach, other=reach_other) as between:
            yield FaultBed(
                opened_at(kind, f"socket://127.0.0.1:{between.port}", {}),
                between,
                SERIAL,
                partial(spent, SERIAL),
                lambda: Seen(0, (), {}, 0),
                _nothing,
                other_serial=OTHER,
                limit_s=LIMIT_S,
                most_bytes=MOST_BYTES,
            )
