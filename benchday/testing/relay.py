"""A relay on loopback between a driver and its unit: the driver is told the relay's address instead of the unit's.

It carries bytes both ways over TCP, whatever the unit itself hangs on, until a fault begins. What is not yet taken is
held by the operating system alone: a driver that reads nothing stops the flood.
"""

from __future__ import annotations

import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from typing import Protocol

import anyio
import anyio.abc
import anyio.lowlevel

from benchday.domain.errors import LinkError
from benchday.domain.seams import ByteStream
from benchday.testing.faults import Fault
from benchday.testing.page_faults import Elsewhere

GONE = (LinkError, anyio.EndOfStream, anyio.BrokenResourceError, anyio.ClosedResourceError, OSError)


class Way(ByteStream, Protocol):
    """What a relay needs of the way to a unit: any link has it, and any byte stream of anyio."""

    async def aclose(self) -> None: ...


Reach = Callable[[], Awaitable[Way]]


def over_tcp(host: str, port: int) -> Reach:
    """Return what reaches a unit's page, or a device server, by TCP."""

    async def reach() -> Way:
        return await anyio.connect_tcp(host, port)

    return reach


class Joint:
    """One connection of a driver, joined to its unit."""

    def __init__(self, near: anyio.abc.SocketStream, far: Way, tasks: anyio.abc.TaskGroup) -> None:
        self.near, self.far = near, far
        self.tasks = tasks
        self.fault: Fault | None = None
        self.beside: anyio.CancelScope | None = None
        self._down, self._up = anyio.Lock(), anyio.Lock()

    async def to_driver(self, data: bytes) -> None:
        async with self._down:
            await self.near.send(data)

    async def to_unit(self, data: bytes) -> None:
        async with self._up:
            await self.far.send(data)

    def cut(self) -> None:
        self.tasks.cancel_scope.cancel()


class Relay:
    """Stands between; ``begin`` and ``end`` a fault at any time."""

    def __init__(self, reach: Reach, other: Reach | None, *, page: bool) -> None:
        self.port = self.elsewhere_port = 0
        self.visits = 0
        """How often somebody went where a redirect pointed."""
        self._reach, self._other, self._page = reach, other, page
        self._joints: set[Joint] = set()
        self._fault: Fault | None = None
        self._left = 0
        self._reached = anyio.Event()

    @property
    def knows_another(self) -> bool:
        """Whether another unit can take this one's place."""
        return self._other is not None

    async def begin(self, fault: Fault, after_bytes: int = 0) -> None:
        """Let a fault begin once so many bytes have passed, both ways counted together."""
        Elsewhere.address = f"http://127.0.0.1:{self.elsewhere_port}/"
        self._fault, self._left, self._reached = fault, after_bytes, anyio.Event()
        if not after_bytes:
            self._reached.set()
        for joint in tuple(self._joints):
            if fault.other and self._page:
                joint.cut()
            elif fault.other:
                await self._swap(joint, self._other)
            else:
                self._spoil(joint, fault)

    async def end(self) -> None:
        """Let the fault end; pages are connected anew, for nobody knows what their connections still hold."""
        fault, self._fault = self._fault, None
        for joint in tuple(self._joints):
            joint.fault = None
            if joint.beside is not None:
                joint.beside.cancel()
            if self._page:
                joint.cut()
            elif fault is not None and fault.other:
                await self._swap(joint, self._reach)

    async def serve(self, near: anyio.abc.SocketStream) -> None:
        """Serve one connection to its end."""
        try:
            near.extra(anyio.abc.SocketAttribute.raw_socket).setsockopt(  # noqa: S610  # no database in sight
                socket.IPPROTO_TCP, socket.TCP_NODELAY, 1
            )
            fault, on = self._fault, self._reached.is_set()
            if fault is not None and fault.refuses and on:
                return
            with suppress(*GONE):
                other = self._other if fault is not None and fault.other else None
                await self._join(near, await (other or self._reach)())
        finally:
            # Whoever was cancelled must still see it closed, or its socket waits for a driver that reads nothing.
            with anyio.CancelScope(shield=True):
                await near.aclose()
                await anyio.lowlevel.checkpoint()

    async def visit(self, near: anyio.abc.SocketStream) -> None:
        """Count a visitor where a redirect points."""
        self.visits += 1
        await anyio.aclose_forcefully(near)

    async def _join(self, near: anyio.abc.SocketStream, far: Way) -> None:
        async with anyio.create_task_group() as tasks:
            joint = Joint(near, far, tasks)
            self._joints.add(joint)
            if self._fault is not None:
                self._spoil(joint, self._fault)
            try:
                tasks.start_soon(self._downward, joint)
                await self._upward(joint)
            finally:
                self._joints.discard(joint)
                tasks.cancel_scope.cancel()
                with anyio.CancelScope(shield=True), suppress(*GONE):
                    await joint.far.aclose()

    def _spoil(self, joint: Joint, fault: Fault) -> None:
        joint.fault = fault.fresh()
        joint.beside = anyio.CancelScope()
        joint.tasks.start_soon(self._beside, joint, joint.fault, joint.beside)

    async def _beside(self, joint: Joint, fault: Fault, scope: anyio.CancelScope) -> None:
        with scope, suppress(*GONE):
            await self._reached.wait()
            await fault.beside(joint)

    async def _swap(self, joint: Joint, reach: Reach | None) -> None:
        assert reach is not None, "the bed knows no other unit"
        old, joint.far = joint.far, await reach()
        await old.aclose()

    async def _upward(self, joint: Joint) -> None:
        with suppress(*GONE):
            while True:
                piece = await joint.near.receive()
                fault = self._at_work(joint, piece)
                await (fault.up(piece, joint) if fault is not None else joint.to_unit(piece))

    async def _downward(self, joint: Joint) -> None:
        try:
            while True:
                far = joint.far
                try:
                    piece = await far.receive()
                except GONE:
                    if joint.far is far:
                        return
                    continue
                fault = self._at_work(joint, piece)
                await (fault.down(piece, joint) if fault is not None else joint.to_driver(piece))
        except GONE:
            return
        finally:
            joint.cut()

    def _at_work(self, joint: Joint, piece: bytes) -> Fault | None:
        if joint.fault is None:
            return None
        if self._left > 0:
            self._left -= len(piece)
            return None
        self._reached.set()
        return joint.fault


@asynccontextmanager
async def relay(reach: Reach, *, other: Reach | None = None, page: bool = False) -> AsyncIterator[Relay]:
    """Serve a relay on loopback.

    Args:
        reach: opens the way to the unit.
        other: the same for another unit of the same model.
        page: the unit serves a page: the relay's address is ``http://127.0.0.1:port``, else ``socket://127.0.0.1:port``.
    """
    made = Relay(reach, other, page=page)
    async with await _listener() as front, await _listener() as elsewhere, anyio.create_task_group() as serving:
        made.port, made.elsewhere_port = _port(front), _port(elsewhere)
        serving.start_soon(front.serve, made.serve)
        serving.start_soon(elsewhere.serve, made.visit)
        try:
            yield made
        finally:
            serving.cancel_scope.cancel()


async def _listener() -> anyio.abc.Listener[anyio.abc.SocketStream]:
    return await anyio.create_tcp_listener(local_host="127.0.0.1", family=socket.AddressFamily.AF_INET)


def _port(listener: anyio.abc.Listener[anyio.abc.SocketStream]) -> int:
    port: int = listener.extra(anyio.abc.SocketAttribute.local_port)  # noqa: S610  # no database in sight
    return port
