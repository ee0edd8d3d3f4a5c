"""What can go wrong with datagrams between a driver and a unit, and the relay on loopback on which it does.

The driver is told the relay's address instead of the unit's. Nothing is kept for later: what a socket cannot take is
lost, as on any network.
"""

from __future__ import annotations

import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress

import anyio
import anyio.abc

from benchday.domain.errors import LinkError
from benchday.testing.faults import (
    Babble,
    Cut,
    Echo,
    Fault,
    Flood,
    FloodOfText,
    Halved,
    NoiseAfter,
    NoiseBefore,
    NoiseIn,
    OtherUnit,
    Silent,
    Wire,
    WrongRate,
)

Address = tuple[str, int]
Whereabouts = Callable[[], Awaitable[Address]]
"""Tells where a unit is now; asked for each datagram, since one that starts anew may be elsewhere."""

_LOST = (OSError, LinkError, anyio.BrokenResourceError, anyio.ClosedResourceError)


class Twice(Fault):
    """Each answer comes twice."""

    name = "twice"
    harmless = True

    async def down(self, piece: bytes, wire: Wire) -> None:
        await wire.to_driver(piece)
        await wire.to_driver(piece)


class Late(Fault):
    """Each answer comes a thirtieth of a second later."""

    name = "late"
    harmless = True

    async def down(self, piece: bytes, wire: Wire) -> None:
        await anyio.sleep(0.03)
        await wire.to_driver(piece)


class SomeLost(Fault):
    """Every eleventh datagram is lost, either way."""

    name = "some lost"
    harmless = True

    def __init__(self) -> None:
        self._passed = 0

    def _arrives(self) -> bool:
        self._passed += 1
        return self._passed % 11 != 0

    async def down(self, piece: bytes, wire: Wire) -> None:
        if self._arrives():
            await wire.to_driver(piece)

    async def up(self, piece: bytes, wire: Wire) -> None:
        if self._arrives():
            await wire.to_unit(piece)


DATAGRAM_FAULTS: tuple[Fault, ...] = (
    Twice(),
    Late(),
    SomeLost(),
    NoiseBefore(),
    NoiseIn(),
    NoiseAfter(),
    Halved(),
    Silent(),
    WrongRate(),
    Echo(),
    Flood(),
    FloodOfText(),
    Babble(),
    Cut(),
    OtherUnit(),
)
"""What befalls datagrams. A new fault is one more class and one more line here."""


class DatagramRelay:
    """Stands between; ``begin`` and ``end`` a fault at any time."""

    visits = 0

    def __init__(self, unit: Whereabouts, other: Whereabouts | None, tasks: anyio.abc.TaskGroup) -> None:
        self.port = 0
        self._unit, self._other, self._tasks = unit, other, tasks
        self._near: socket.socket | None = None
        self._far = _bound(0)
        self._driver: Address | None = None
        self._fault: Fault | None = None
        self._left = 0
        self._reached = anyio.Event()
        self._beside = anyio.CancelScope()

    @property
    def knows_another(self) -> bool:
        """Whether another unit can take this one's place."""
        return self._other is not None

    async def begin(self, fault: Fault, after_bytes: int = 0) -> None:
        """Let a fault begin once so many bytes have passed, both ways counted together."""
        self._fault, self._left, self._reached = fault.fresh(), after_bytes, anyio.Event()
        self._beside = anyio.CancelScope()
        if not after_bytes:
            self._reached.set()
        if fault.refuses and not after_bytes:
            self.cut()
        self._tasks.start_soon(self._besides, self._fault, self._beside)

    async def end(self) -> None:
        """Let the fault end."""
        self._fault = None
        self._beside.cancel()
        self.open()

    def open(self) -> None:
        """Listen, at the same port as before."""
        if self._near is None:
            self._near = _bound(self.port)
            self.port = self._near.getsockname()[1]
            self._tasks.start_soon(self._upward, self._near)

    def close(self) -> None:
        """Listen no more."""
        self.cut()
        anyio.notify_closing(self._far)
        self._far.close()

    def cut(self) -> None:
        """Refuse whoever sends something."""
        near, self._near = self._near, None
        if near is not None:
            anyio.notify_closing(near)
            near.close()

    async def to_driver(self, data: bytes) -> None:
        """Send to whoever sent last."""
        if self._near is not None and self._driver is not None:
            with suppress(*_LOST):
                self._near.sendto(data, self._driver)

    async def to_unit(self, data: bytes) -> None:
        """Send to the unit, or to the one that stands in its place."""
        other = self._other if self._fault is not None and self._fault.other else None
        with suppress(*_LOST):
            self._far.sendto(data, await (other or self._unit)())

    async def downward(self) -> None:
        """Carry what comes from the unit."""
        with suppress(*_LOST):
            while True:
                piece, _ = await _next(self._far)
                fault = self._at_work(piece)
                await (fault.down(piece, self) if fault is not None else self.to_driver(piece))

    async def _upward(self, near: socket.socket) -> None:
        with suppress(*_LOST):
            while True:
                piece, self._driver = await _next(near)
                fault = self._at_work(piece)
                await (fault.up(piece, self) if fault is not None else self.to_unit(piece))

    async def _besides(self, fault: Fault, scope: anyio.CancelScope) -> None:
        with scope:
            await self._reached.wait()
            await fault.beside(self)

    def _at_work(self, piece: bytes) -> Fault | None:
        if self._fault is None:
            return None
        if self._left > 0:
            self._left -= len(piece)
            return None
        self._reached.set()
        return self._fault


async def _next(ours: socket.socket) -> tuple[bytes, Address]:
    while True:
        await anyio.wait_readable(ours)
        with suppress(BlockingIOError, ConnectionRefusedError):
            return ours.recvfrom(65_535)


def _bound(port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    made.setblocking(False)
    made.bind(("127.0.0.1", port))
    return made


@asynccontextmanager
async def datagram_relay(unit: Whereabouts, *, other: Whereabouts | None = None) -> AsyncIterator[DatagramRelay]:
    """Serve a relay for datagrams; the driver is opened at ``udp://127.0.0.1:port``.

    Args:
        unit: tells where the unit is.
        other: the same for another unit of the same model.
    """
    async with anyio.create_task_group() as tasks:
        made = DatagramRelay(unit, other, tasks)
        made.open()
        tasks.start_soon(made.downward)
        try:
            yield made
        finally:
            made.close()
            tasks.cancel_scope.cancel()
