"""A signed-in session with a unit's own page: HTTP/1.1 (RFC 9110, 9112), cookies (RFC 6265), nothing else.

Redirects are never followed, proxies never used, and a body is never read beyond its limit.
"""

from __future__ import annotations

import json
import socket
import ssl
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

import anyio
import httpx

from benchday.devices.drivers.web_errors import ALL_OF_HTTPX, translated
from benchday.devices.drivers.web_first import PatientAtFirst
from benchday.domain.errors import Garbled, LinkForbidden, LinkSilent, Refused

MOST_JSON_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class WebLimits:
    """Real seconds."""

    appears_s: float = 5.0
    """How long nobody may listen there at first: a unit that was just switched on."""
    answer_s: float = 10.0
    """For an answer to a request."""
    test_s: float = 180.0
    image_s: float = 180.0
    """For the unit's word on an image, once all of it was sent; it may erase and check for long."""
    flash_s: float = 300.0
    """How long the unit may be out of reach, or come no step forward, while it flashes; the whole may take longer."""
    restart_s: float = 300.0
    fetch_bytes_per_s: int = 2_000
    """A recording must come at least so fast, on the whole; far below what any Wi-Fi carries (our own choice)."""
    settle_s: float = 1.0
    """Between the order to restart and the first look."""
    poll_s: float = 1.0


@dataclass(frozen=True, slots=True)
class Address:
    """Where a unit's page is and who signs in."""

    url: str
    user: str = field(default="", repr=False)
    password: str = field(default="", repr=False)


@dataclass(frozen=True, slots=True)
class Reply:
    """A whole answer."""

    status: int
    body: bytes

    def json(self) -> Any:
        """Read the body as JSON.

        Raises:
            Garbled
        """
        try:
            return json.loads(self.body)
        except (ValueError, RecursionError) as error:
            raise Garbled(f"the unit's answer is no JSON: {self.body[:80]!r}") from error


class WebSession:
    """Asks the unit at one address, signing in when it wants that."""

    def __init__(
        self, find: Callable[[], Address], limits: WebLimits, transport: httpx.AsyncBaseTransport | None = None
    ) -> None:
        """Prepare; nothing is sent yet.

        Args:
            find: says where the unit is now.
            limits: real seconds.
            transport: another way to carry requests, for tests.
        """
        self._find, self._limits = find, limits
        self._address = find()
        self.client = httpx.AsyncClient(
            follow_redirects=False,
            trust_env=False,
            timeout=limits.answer_s,
            transport=transport or PatientAtFirst(_over_sockets(), limits.appears_s),
            headers={"Accept-Encoding": "identity"},
        )

    @property
    def where(self) -> str:
        return self._address.url

    async def aclose(self) -> None:
        await self.client.aclose()

    async def read(self, method: str, path: str, *, body: object = None, limit_s: float | None = None) -> Reply:
        """Ask for a reading; asked once more after silence or a lost connection.

        Raises:
            Refused, Garbled, LinkError
        """
        try:
            return await self.ask(method, path, body=body, limit_s=limit_s)
        except (LinkSilent, Garbled):
            return await self.ask(method, path, body=body, limit_s=limit_s)

    async def tell(self, method: str, path: str, done: int, *, body: object = None) -> None:
        """Have something done, once; only the one status that says so will do: a page may word an error as 200.

        Raises:
            Refused, Garbled, LinkError
        """
        reply = await self.ask(method, path, body=body)
        if reply.status != done:
            raise Garbled(f"the unit answered {method} {path} with {reply.status} instead of {done}: was it done?")

    async def ask(self, method: str, path: str, *, body: object = None, limit_s: float | None = None) -> Reply:
        """Ask once, signing in if the unit wants that.

        Raises:
            Refused, Garbled, LinkError
        """
        limit_s = limit_s or self._limits.answer_s
        try:
            with anyio.fail_after(limit_s):
                async with self.opened(method, path, timeout=limit_s, **_json_body(body)) as response:
                    reply = Reply(response.status_code, await bounded(response))
        except TimeoutError:
            raise LinkSilent(f"{self.where} does not answer in {limit_s:g} s: is the unit on, and near?") from None

        return _accepted(reply, f"{method} {path}")

    @asynccontextmanager
    async def opened(self, method: str, path: str, **request: Any) -> AsyncIterator[httpx.Response]:
        """Send a request and open its answer, signing in first if the unit asks for that.

        Raises:
            LinkError, Garbled: translated from httpx.
        """
        try:
            for again in (False, True):
                async with self.client.stream(method, self._url(path), **request) as response:
                    if response.status_code != httpx.codes.UNAUTHORIZED or again:
                        yield response
                        return
                await self.sign_in()
        except ALL_OF_HTTPX as error:
            raise translated(error, self.where) from error

    async def sign_in(self) -> None:
        """Sign in anew.

        Raises:
            LinkForbidden: the unit does not accept the user and password.
            LinkError
        """
        self._address = self._find()
        self.client.cookies.clear()
        credentials = {"user": self._address.user, "password": self._address.password}
        try:
            async with self.client.stream("POST", self._url("/sign-in"), data=credentials) as response:
                await bounded(response)
        except ALL_OF_HTTPX as error:
            raise translated(error, self.where) from error
        if response.status_code != httpx.codes.NO_CONTENT:
            raise LinkForbidden(
                f"{self.where} does not let this user in (answer {response.status_code}): check user and password"
            )

    def _url(self, path: str) -> str:
        return self._address.url.rstrip("/") + path


def _over_sockets() -> httpx.AsyncHTTPTransport:
    # Units speak plain HTTP in their own network: a context that trusts nobody spares loading the authorities.
    trusts_nobody = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    # A small send buffer keeps what counts as sent close to what has left; the system's own grows to megabytes.
    small = (socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 16)
    return httpx.AsyncHTTPTransport(verify=trusts_nobody, trust_env=False, socket_options=[small])


def _json_body(body: object) -> Mapping[str, Any]:
    return {} if body is None else {"content": json.dumps(body), "headers": {"Content-Type": "application/json"}}


async def bounded(response: httpx.Response) -> bytes:
    """Read an answer's body, up to the limit.

    Raises:
        Garbled: it is longer.
    """
    body = bytearray()
    async for piece in response.aiter_raw():
        body += piece
        if len(body) > MOST_JSON_BYTES:
            raise Garbled(f"the unit's answer is larger than {MOST_JSON_BYTES} bytes")

    return bytes(body)


def _accepted(reply: Reply, request: str) -> Reply:
    if 200 <= reply.status < 300:
        return reply
    if reply.status in (httpx.codes.NOT_FOUND, httpx.codes.METHOD_NOT_ALLOWED):
        raise Refused(request, "missing")
    if reply.status == httpx.codes.CONFLICT:
        raise refusal_of(reply, request)
    if reply.status == httpx.codes.UNAUTHORIZED:
        raise LinkForbidden("the unit let this user in and then did not know it any more; is somebody else signed in?")
    if 300 <= reply.status < 400:
        raise Garbled(f"the unit's answer to {request} points elsewhere ({reply.status}), which is not followed")

    raise Garbled(f"the unit answered {request} with {reply.status}")


def refusal_of(reply: Reply, request: str) -> Refused:
    """Read the unit's reason for a refusal."""
    said = reply.json()
    if not isinstance(said, dict):
        raise Garbled(f"the unit refused {request} without a reason that can be read")

    return Refused(request, str(said.get("refused", "refused")), str(said.get("words", "")))
