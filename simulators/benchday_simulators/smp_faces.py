"""How a host reaches a unit that speaks SMP: over its serial line, or by datagrams (UDP)."""

import asyncio
import json
import time
from pathlib import Path

from .faces import SerialFace
from .smp_framing import Reassembly, lines_of
from .smp_server import BUFFER_BYTES, SmpServer
from .unit import Unit

ADDRESS = "127.0.0.1"
MOST_WAITING = 16
"""datagrams that wait; more are lost"""


class SmpLineFace(SerialFace):
    """A serial line with lines of SMP on it."""

    async def session(self) -> None:
        """Answer until a restart is asked for."""
        if not self._pulled:
            await self._line.attach()
        self._line.hear(on=True)
        server, reassembly = SmpServer(self._unit), Reassembly(BUFFER_BYTES)
        try:
            while not server.restart:
                for message in reassembly.feed(await self._line.read(3600.0)):
                    if (told := await server.answer(message)) is not None:
                        await self._line.write(lines_of(told))
        finally:
            server.close()


class SmpDatagramFace:
    """A loopback socket; one message is one datagram. Nothing listens there while the unit boots or is off."""

    def __init__(self, unit: Unit, link: Path | None) -> None:
        self._unit = unit
        self._link = link
        self._port = 0
        self._transport: asyncio.DatagramTransport | None = None
        self._waiting: asyncio.Queue[tuple[bytes, tuple[str, int]]] = asyncio.Queue(MOST_WAITING)
        self._away_until = 0.0

    async def attach(self) -> dict[str, str]:
        """Listen, on the same port as before where that is free, and write the link."""
        if self._transport is None:
            loop = asyncio.get_running_loop()
            try:
                bound = await loop.create_datagram_endpoint(lambda: _Intake(self), (ADDRESS, self._port))
            except OSError:
                bound = await loop.create_datagram_endpoint(lambda: _Intake(self), (ADDRESS, 0))
            self._transport = bound[0]
            self._port = self._transport.get_extra_info("sockname")[1]
        where = {"url": f"udp://{ADDRESS}:{self._port}"}
        if self._link is not None:
            fresh = self._link.with_name(f".{self._link.name}.new")
            fresh.write_text(json.dumps(where), encoding="utf-8")
            fresh.replace(self._link)
        return where

    async def session(self) -> None:
        """Answer until a restart is asked for."""
        await self.attach()
        server = SmpServer(self._unit)
        try:
            while not server.restart:
                message, host = await self._waiting.get()
                told = await server.answer(message[:BUFFER_BYTES])
                if told is not None:
                    await self._unit.speech.tarry(len(told))
                    self._say(told, host)
        finally:
            server.close()

    def came(self, data: bytes, host: tuple[str, int]) -> None:
        """Take a datagram, unless the network is away or too many wait."""
        if time.monotonic() >= self._away_until and not self._waiting.full() and not self._unit.speech.stuck:
            self._waiting.put_nowait((data, host))

    def _say(self, told: bytes, host: tuple[str, int]) -> None:
        # A datagram with a changed byte is thrown away by whoever gets it: its checksum tells (RFC 768).
        times = {"": 1, "repeated": 2}.get(self._unit.speech.spoiled(), 0)
        if time.monotonic() < self._away_until or self._unit.speech.silent() or self._transport is None:
            return
        for _ in range(times):
            self._transport.sendto(told, host)

    async def rest(self) -> None:
        """Nothing listens."""
        self._refuse()

    def detach(self) -> None:
        """Close for good."""
        self._refuse()
        if self._link is not None:
            self._link.unlink(missing_ok=True)

    def _refuse(self) -> None:
        if self._transport is not None:
            self._transport.close()
            self._transport = None
        while not self._waiting.empty():
            self._waiting.get_nowait()

    def pull_cable(self, seconds: float) -> None:
        """Lose every datagram for some real seconds."""
        self._away_until = time.monotonic() + seconds


class _Intake(asyncio.DatagramProtocol):
    """The socket's end."""

    def __init__(self, face: SmpDatagramFace) -> None:
        self._face = face

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        self._face.came(data, addr)
