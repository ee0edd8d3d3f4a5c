"""One HTTP/1.1 connection to a Wi-Fi unit: requests in, responses out, bodies as they come (h11 knows the protocol)."""

import asyncio
import json
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from urllib.parse import parse_qs

import h11

READ = 65_536
PIECE = 16_384
BODY_WITHIN_S = 10.0
"""a host silent for longer in the middle of a body is lost (real seconds)"""
SMALL_BODY = 65_536

Headers = list[tuple[str, str]]


class HostGone(Exception):
    """The connection is lost."""


async def _nothing(_: float) -> bool:
    """Nothing happens while a body is sent."""
    return True


@dataclass
class Response:
    """What the unit answers."""

    status: int
    body: bytes = b""
    headers: Headers = field(default_factory=list)
    cut_at: int | None = None
    """bytes of the body after which the connection breaks"""
    moment: Callable[[float], Awaitable[bool]] = _nothing
    """awaited with the percentage of the body sent; says whether there is a rest to send"""
    then: Callable[[], None] | None = None
    """done when the answer has left"""


def as_json(status: int, value: object) -> Response:
    """Answer with JSON."""
    return Response(status, json.dumps(value).encode(), [("content-type", "application/json")])


class Request:
    """A request whose body is read as it comes."""

    def __init__(self, event: h11.Request, pieces: Callable[[], Awaitable[bytes | None]]) -> None:
        self.method = event.method.decode("ascii")
        self.path, _, self._query = event.target.decode("ascii").partition("?")
        self._headers = {name.decode("ascii"): value.decode("latin-1") for name, value in event.headers}
        self.piece = pieces
        """gives the next piece of the body, None at its end; raises HostGone"""

    def query(self, name: str) -> str:
        """Give a value behind the path, empty when it is missing."""
        return parse_qs(self._query).get(name, [""])[-1]

    def header(self, name: str) -> str:
        """Give a header, empty when it is missing."""
        return self._headers.get(name, "")

    async def body(self) -> bytes:
        """Read a small body; what is over 64 KiB is dropped."""
        kept = b""
        while (piece := await self.piece()) is not None:
            kept = (kept + piece)[:SMALL_BODY]
        return kept


class Connection:
    """Answer requests until the host leaves."""

    def __init__(
        self,
        streams: tuple[asyncio.StreamReader, asyncio.StreamWriter],
        answer: Callable[[Request], Awaitable[Response]],
        shape: Callable[[bytes], Awaitable[bytes]],
        there: Callable[[], Awaitable[None]],
    ) -> None:
        """
        `shape` is awaited with each body before it is sent, and may hold it back or change it; `there` is awaited
        before anything passes.
        """
        self._reader, self._writer = streams
        self._answer = answer
        self._shape = shape
        self._there = there
        self._http = h11.Connection(h11.SERVER)

    async def serve(self) -> None:
        """Serve the connection to its end."""
        try:
            while await self._one():
                self._http.start_next_cycle()
        except (HostGone, ConnectionError, h11.ProtocolError):
            pass
        finally:
            self._writer.transport.abort()

    async def _one(self) -> bool:
        """Answer one request; says whether another may follow."""
        event = await self._event(within=None)
        if not isinstance(event, h11.Request):
            return False
        request = Request(event, self._piece)
        response = await self._answer(request)
        while await request.piece() is not None:  # read to the end, so that the host hears the answer
            pass
        await self._send(response)
        if response.then is not None:
            response.then()
        return self._http.our_state is h11.DONE and self._http.their_state is h11.DONE

    async def _event(self, within: float | None) -> h11.Event | type[h11.PAUSED]:
        while (event := self._http.next_event()) is h11.NEED_DATA:
            if self._http.they_are_waiting_for_100_continue:
                go_on = h11.InformationalResponse(status_code=100, headers=[])
                self._writer.write(self._http.send(go_on) or b"")
            try:
                async with asyncio.timeout(within):
                    data = await self._reader.read(READ)
                    await self._there()
                    self._http.receive_data(data)
            except TimeoutError:
                raise HostGone from None
        return event  # type: ignore[return-value]

    async def _piece(self) -> bytes | None:
        if self._http.their_state is not h11.SEND_BODY:
            return None
        event = await self._event(BODY_WITHIN_S)
        if isinstance(event, h11.Data):
            return bytes(event.data)
        if isinstance(event, h11.EndOfMessage):
            return None
        raise HostGone

    async def _send(self, response: Response) -> None:
        body = await self._shape(response.body)
        length = [("content-length", str(len(body)))] if response.status != 204 else []
        start = h11.Response(status_code=response.status, headers=[*response.headers, *length])
        await self._there()
        self._writer.write(self._http.send(start) or b"")
        for begin in range(0, len(body), PIECE):
            if not await response.moment(100 * begin / len(body)):
                raise HostGone
            await self._there()
            piece = body[begin : min(begin + PIECE, response.cut_at or len(body))]
            self._writer.write(self._http.send(h11.Data(data=piece)) or b"")
            await self._writer.drain()
            if response.cut_at is not None and begin + PIECE >= response.cut_at:
                raise HostGone
        self._writer.write(self._http.send(h11.EndOfMessage()) or b"")
        await self._writer.drain()
