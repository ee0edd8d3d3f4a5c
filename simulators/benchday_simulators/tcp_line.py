"""A serial line on a loopback socket, for platforms without pseudo-terminals. Its twin is in `pty_line`."""

import asyncio
import json
import time
from pathlib import Path

from .lines import Listener


class TcpCarrier:
    """A listening socket that one host at a time talks to; a second one takes the first one's place."""

    def __init__(self, link: Path | None) -> None:
        self._link = link
        self._listener: Listener | None = None
        self._server: asyncio.Server | None = None
        self._host: asyncio.Transport | None = None
        self._timer: asyncio.TimerHandle | None = None

    async def attach(self, listener: Listener) -> dict[str, str]:
        """Listen, each time on a fresh port, and write the link."""
        self._listener = listener
        if self._server is None:
            self._server = await asyncio.get_running_loop().create_server(lambda: _Host(self), "127.0.0.1", 0)
        port = self._server.sockets[0].getsockname()[1]
        where = {"url": f"socket://127.0.0.1:{port}"}
        if self._link is not None:
            fresh = self._link.with_name(f".{self._link.name}.new")
            fresh.write_text(json.dumps(where), encoding="utf-8")
            fresh.replace(self._link)
        return {"port": where["url"]}

    def detach(self) -> None:
        """Close the socket and cut whoever is connected."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._host is not None:
            self._host.abort()
            self._host = None
        if self._server is not None:
            self._server.close()
            self._server = None
        if self._link is not None:
            self._link.unlink(missing_ok=True)

    def joined(self, transport: asyncio.Transport) -> None:
        """A host has connected."""
        if self._host is not None:
            self._host.abort()
        self._host = transport

    def left(self, transport: asyncio.Transport) -> None:
        """A host has gone."""
        if self._host is transport:
            self._host = None

    def came(self, transport: asyncio.Transport, data: bytes) -> None:
        """Bytes have come; nothing more is read until they would have come over a real line."""
        if self._listener is None or transport is not self._host:
            return
        due = self._listener.due(len(data))
        if due is None:
            self._listener.arrived(data, None)
            return
        transport.pause_reading()
        delay = max(0.0, due - time.monotonic())
        self._timer = asyncio.get_running_loop().call_later(delay, self._come, transport, data, due)

    def _come(self, transport: asyncio.Transport, data: bytes, due: float) -> None:
        self._timer = None
        transport.resume_reading()
        if self._listener is not None:
            self._listener.arrived(data, due)

    def push(self, data: bytes) -> int:
        """Send; what is sent while nobody is connected is lost."""
        if self._host is not None:
            self._host.write(data)
        return len(data)

    def backlog(self) -> int:
        """Say how many bytes wait to be sent."""
        return 0 if self._host is None else self._host.get_write_buffer_size()


class _Host(asyncio.Protocol):
    """One connection."""

    def __init__(self, carrier: TcpCarrier) -> None:
        self._carrier = carrier
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if isinstance(transport, asyncio.Transport):
            self._transport = transport
            self._carrier.joined(transport)

    def data_received(self, data: bytes) -> None:
        if self._transport is not None:
            self._carrier.came(self._transport, data)

    def connection_lost(self, _: Exception | None) -> None:
        if self._transport is not None:
            self._carrier.left(self._transport)
