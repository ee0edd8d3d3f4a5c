"""A line behind a serial device server, as raw TCP (RFC 9293).

A server that lost its unit may go on accepting bytes, and a dead network looks like silence: whoever asks over such a
link needs a time limit on each answer. The operating system is asked to notice a dead network (``alive``).
"""

from __future__ import annotations

import contextlib
import socket
import struct
from typing import Never

import anyio
import anyio.abc
import anyio.lowlevel

from benchday.devices.links.alive import Alive, acknowledge_at_once, watch
from benchday.devices.links.line import CLOSE_LIMIT_S, OPEN_LIMIT_S, LineSettings
from benchday.domain.errors import LinkGone, LinkNotFound, LinkSilent
from benchday.domain.seams import ModemLines

GONE = (anyio.EndOfStream, anyio.BrokenResourceError, anyio.ClosedResourceError, OSError)
_QUIET_S = 0.02
_DISCARD_S = 0.1
"""For what has come to be thrown away: a device that never stops must not hold whoever wants to speak."""


class TcpLink:
    """One connection."""

    def __init__(self, stream: anyio.abc.SocketStream, where: str) -> None:
        self._stream, self._where = stream, where
        self._raw = raw_socket(stream)
        self._over: str | None = None

    async def receive(self, max_bytes: int = 65536) -> bytes:
        self._check()
        try:
            piece = await self._stream.receive(max_bytes)
        except GONE as error:
            self._lost(error)
        acknowledge_at_once(self._raw)
        return piece

    async def send(self, item: bytes) -> None:
        self._check()
        try:
            await self._stream.send(item)
        except GONE as error:
            self._lost(error)

    async def set_baud(self, baud: int) -> None:  # noqa: ARG002  # the server owns the line
        self._check()
        await anyio.lowlevel.checkpoint()

    def modem_lines(self) -> ModemLines:
        return ModemLines()

    async def discard_input(self) -> None:
        with anyio.move_on_after(_DISCARD_S):
            while True:
                with anyio.move_on_after(_QUIET_S) as waiting:
                    await self.receive()
                if waiting.cancelled_caught:
                    return

    def abort(self) -> None:
        if self._over is None:
            self._over = "the line was dropped"
            drop(self._stream)

    async def aclose(self) -> None:
        self._over = self._over or "the line was closed"
        with anyio.move_on_after(CLOSE_LIMIT_S, shield=True):
            # Not forcefully: that would leave what is not yet sent, and with it the socket, to a peer that never reads.
            await self._stream.aclose()

    def _check(self) -> None:
        if self._over is not None:
            raise LinkGone(f"{self._where}: {self._over}")

    def _lost(self, error: Exception) -> Never:
        self._check()
        raise LinkGone(f"{self._where} has ended the connection: unit off, cable out, or network lost?") from error


async def open_tcp(where: str, line: LineSettings, alive: Alive | None = None) -> TcpLink:
    """Connect to ``host:port``.

    Raises:
        LinkNotFound: nobody listens there, or it is no address.
        LinkSilent: no answer.
    """
    stream = await connected("socket", where, alive or Alive())
    await anyio.sleep(line.settle_ms / 1000)
    return TcpLink(stream, where)


async def connected(scheme: str, where: str, alive: Alive) -> anyio.abc.SocketStream:
    """Connect, without delay for small pieces, and have a dead peer noticed; raises as ``open_tcp``."""
    host, _, port = where.rpartition(":")
    if not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise LinkNotFound(f"{scheme}://{where} is no address; expected {scheme}://host:port")
    try:
        with anyio.fail_after(OPEN_LIMIT_S):
            stream = await anyio.connect_tcp(host.strip("[]"), int(port))
    except TimeoutError:
        raise LinkSilent(f"no answer from {where} in {OPEN_LIMIT_S:.0f} s: is it on, and in this network?") from None
    except OSError as error:
        raise LinkNotFound(f"nobody answers at {where} ({error}): is it on, and in this network?") from error

    raw_socket(stream).setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    watch(raw_socket(stream), alive)
    return stream


def drop(stream: anyio.abc.SocketStream) -> None:
    """Throw unsent bytes away and end a connection at once, waking whoever waits on it."""
    raw = raw_socket(stream)
    raw.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    with contextlib.suppress(OSError):
        raw.shutdown(socket.SHUT_RDWR)


def raw_socket(stream: anyio.abc.SocketStream) -> socket.socket:
    """Return the socket of a connection, for its options."""
    return stream.extra(anyio.abc.SocketAttribute.raw_socket)  # noqa: S610  # no database in sight
