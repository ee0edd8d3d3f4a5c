"""How a host reaches a Wi-Fi unit: a small web server that refuses connections while the unit boots or is off."""

import asyncio
import json
import ssl
import time
from pathlib import Path
from typing import Protocol

from .unit import Unit
from .web_connection import Connection, Request, Response
from .web_dialogue import WebDialogue
from .web_image import WebImage

ADDRESS = "127.0.0.1"


class Dialogue(Protocol):
    """What a host and the unit say to one another."""

    image: WebImage

    async def answer(self, request: Request) -> Response:
        """Answer one request."""
        ...


class WebFace:
    """The unit's own page."""

    scheme = "http"

    def __init__(self, unit: Unit, link: Path | None) -> None:
        self._unit = unit
        self._link = link
        self._port = 0
        self._server: asyncio.Server | None = None
        self._connections: set[asyncio.Task[None]] = set()
        self._dialogue = self._talks()
        self._away_until = 0.0
        self._back: asyncio.Future[None] | None = None

    def _talks(self) -> Dialogue:
        """Give the dialogue of one boot."""
        return WebDialogue(self._unit)

    def _context(self) -> ssl.SSLContext | None:
        """Give what the server encrypts with."""
        return None

    async def attach(self) -> dict[str, str]:
        """Listen, on the same port as before where that is free, and write the link."""
        if self._server is None:
            try:
                self._server = await asyncio.start_server(self._connected, ADDRESS, self._port, ssl=self._context())
            except OSError:
                self._server = await asyncio.start_server(self._connected, ADDRESS, 0, ssl=self._context())
            self._port = self._server.sockets[0].getsockname()[1]
        state = self._unit.state
        where = {"url": f"{self.scheme}://{ADDRESS}:{self._port}", "user": state.user, "password": state.password}
        if self._link is not None:
            self._link.with_suffix(".new").write_text(json.dumps(where), encoding="utf-8")
            self._link.with_suffix(".new").replace(self._link)
        return where

    async def session(self) -> None:
        """Serve until a restart is asked for."""
        self._unit.restart_asked.clear()
        self._dialogue = self._talks()
        if time.monotonic() >= self._away_until:
            await self.attach()
        try:
            await self._unit.restart_asked.wait()
        finally:
            self._refuse()
            await self._dialogue.image.stop()

    async def rest(self) -> None:
        """Refuse connections."""
        self._refuse()

    def detach(self) -> None:
        """Close for good."""
        self._refuse()
        if self._link is not None:
            self._link.unlink(missing_ok=True)

    def _refuse(self) -> None:
        if self._server is not None:
            self._server.close()
            self._server = None
        for connection in self._connections:
            connection.cancel()

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        speech = self._unit.speech
        connection = Connection((reader, writer), self._answer, self._shape, speech.until_there)
        served = asyncio.create_task(connection.serve())
        self._connections.add(served)
        served.add_done_callback(self._connections.discard)

    async def _answer(self, request: Request) -> Response:
        """Answer a request, unless the unit is stuck: then all of it is taken and nothing said."""
        speech = self._unit.speech
        if speech.stuck:
            while await request.piece() is not None:
                pass
            await speech.until_heard()
        await speech.tarry(0)
        return await self._dialogue.answer(request)

    async def _shape(self, body: bytes) -> bytes:
        """Hold an answer back while the unit is silent, spoil it where trouble says so."""
        await self._unit.speech.until_heard()
        await self._unit.speech.tarry(len(body))
        return self._unit.speech.shape(body)

    def pull_cable(self, seconds: float) -> None:
        """Cut all connections; back after some real seconds."""
        self._away_until = time.monotonic() + seconds
        self._refuse()
        self._unit.later(seconds, self._come_back)

    def _come_back(self) -> None:
        running = self._unit.lit.is_set() and not self._unit.booting
        if running and time.monotonic() >= self._away_until:
            self._back = asyncio.ensure_future(self._attach_again())

    async def _attach_again(self) -> None:
        await self.attach()
