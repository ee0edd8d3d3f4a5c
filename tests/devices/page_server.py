"""Small real servers that play a unit's page, good or bad, over real sockets."""

from __future__ import annotations

import json
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs

import anyio
import anyio.abc
from anyio.streams.tls import TLSListener

from benchday.devices.drivers import Place, make_driver
from benchday.devices.drivers.page import PageDriver
from benchday.devices.drivers.page_wire import Certificates
from tests.devices.pages import with_page

QUICK = {"answer_s": 0.5, "image_s": 0.5, "flash_s": 0.5, "settle_s": 0.01, "poll_s": 0.02}


@dataclass(frozen=True)
class Asked:
    """One request as it came."""

    method: str
    path: str
    headers: Mapping[str, str]
    body: bytes
    peer: str = ""

    @property
    def form(self) -> dict[str, str]:
        """The fields of a form."""
        return {name: values[-1] for name, values in parse_qs(self.body.decode(), keep_blank_values=True).items()}


@dataclass
class Told:
    """One answer."""

    status: int = 200
    body: bytes = b""
    headers: dict[str, str] = field(default_factory=dict)


def as_json(value: Any, status: int = 200, **headers: str) -> Told:
    """Answer with JSON."""
    return Told(status, json.dumps(value).encode(), headers)


Deal = Callable[[anyio.abc.ByteStream], Awaitable[None]]
Answer = Callable[[Asked], Told | Deal]
"""What a request is answered; or what is done with the connection instead, when only the head was read."""


@asynccontextmanager
async def server(
    answer: Answer, *, host: str = "127.0.0.1", port: int = 0, tls: ssl.SSLContext | None = None
) -> AsyncIterator[int]:
    """Serve until the block ends; yields the port."""
    made = await anyio.create_tcp_listener(local_host=host, local_port=port)
    listener: anyio.abc.Listener[Any] = made if tls is None else TLSListener(made, tls, standard_compatible=False)

    async def serve(stream: anyio.abc.ByteStream) -> None:
        with_errors = (anyio.BrokenResourceError, anyio.EndOfStream, anyio.ClosedResourceError, ssl.SSLError)
        try:
            async with stream:
                while await _one(stream, answer):
                    pass
        except with_errors:
            pass

    async with made, anyio.create_task_group() as serving:
        serving.start_soon(listener.serve, serve)
        yield made.extra(anyio.abc.SocketAttribute.local_port)  # noqa: S610  # no database in sight
        serving.cancel_scope.cancel()


async def _one(stream: anyio.abc.ByteStream, answer: Answer) -> bool:
    come = b""
    while b"\r\n\r\n" not in come:
        come += await stream.receive()
    head, _, body = come.partition(b"\r\n\r\n")
    first, *lines = head.decode("latin-1").split("\r\n")
    headers = {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in lines)}
    method, path, _ = first.split(" ")
    peer = stream.extra(anyio.abc.SocketAttribute.remote_address)[0]  # noqa: S610  # no database in sight
    if path.startswith("/image"):
        early = answer(Asked(method, path, headers, b"", peer))
        if callable(early):
            await early(stream)
            return False
    while len(body) < int(headers.get("content-length", 0)):
        body += await stream.receive()
    told = answer(Asked(method, path, headers, body, peer))
    if callable(told):
        await told(stream)
        return False
    more = "".join(f"{name}: {value}\r\n" for name, value in told.headers.items())
    length = "" if method == "HEAD" and "Content-Length" in told.headers else f"Content-Length: {len(told.body)}\r\n"
    await stream.send(f"HTTP/1.1 {told.status} X\r\n{length}{more}\r\n".encode() + told.body)
    return True


PLAIN = """
scheme: http
sign_in: {way: basic}
refusal: {code: {in_json: $.error}, words: {in_json: $.words, optional: true}}
identify:
  request: {path: /who}
  serial: {in_json: $.serial}
  model: {fixed: Osier}
  release: {in_json: $.release}
power:
  request: {path: /power}
  charge: {in_json: $.charge}
  external: {in_json: $.external, choices: {"true": "yes", "false": "no"}}
recordings:
  request: {path: /list}
  items: {in_html: "li.file"}
  name: {in_html: a}
fetch:
  request: {path: /files/, path_ends: name}
write:
  request: {method: PUT, path: /image, body: raw, succeeds: {value: {in_json: $.taken}, is_one_of: ["yes"]}}
  erased_by_then: [crc]
  progress:
    request: {path: /progress}
    state: {after: "state=", before: ";"}
    busy: [busy]
    done: [done]
    failed: [failed]
restart:
  request: {method: POST, path: /restart}
  gone_within_s: 1
  back_within_s: 1
"""
"""A page in which everything has its own form: JSON, HTML, plain text."""
WHO = {"serial": "7", "release": "1.0"}


def good(asked: Asked) -> Told:
    """Answer as a good unit does."""
    path = asked.path.partition("?")[0]
    if path == "/list":
        return Told(200, b'<ul><li class="file"><a href="x">a b.job</a> about 1 kB</ul>')
    if path == "/files/a%20b.job":
        size = {"Content-Length": "4"} if asked.method == "HEAD" else {}
        return Told(200, b"" if asked.method == "HEAD" else b"abcd", size)
    told: dict[str, Told] = {
        "/who": as_json(WHO),
        "/power": as_json({"charge": 55, "external": False}),
        "/image": as_json({"taken": "yes"}),
        "/progress": Told(200, b"state=done; nothing else"),
        "/restart": Told(204),
    }
    return told.get(path, Told(404))


@asynccontextmanager
async def driven(
    answer: Answer,
    page: str = PLAIN,
    *,
    unit: str = "7",
    host: str = "127.0.0.1",
    tls: ssl.SSLContext | None = None,
    certificates: Certificates | None = None,
    **settings: object,
) -> AsyncIterator[PageDriver]:
    """The driver before a server."""
    async with server(answer, host=host, tls=tls) as port:
        where = f"{'https' if tls else 'http'}://{host}:{port}"
        told = {**QUICK, "user": "heron", "password": "heron", **settings}
        place = Place(where, told, playbook=with_page(page), unit=unit, certificates=certificates)
        driver = await make_driver("page", place)
        assert isinstance(driver, PageDriver)
        try:
            yield driver
        finally:
            await driver.aclose()
