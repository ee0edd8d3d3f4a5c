"""What comes from pages and drives: declared pages, sign-ins, paths, a unit's own file."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, cast

import httpx

from benchday.devices.drivers import page_readings
from benchday.devices.drivers.page_answer import Answer
from benchday.devices.drivers.page_session import PageSession, judged
from benchday.devices.drivers.page_sign_in import flow_of
from benchday.devices.drivers.storage_words import identity_in
from benchday.devices.drivers.web_errors import ALL_OF_HTTPX
from benchday.devices.drivers.web_session import Reply, refusal_of
from benchday.domain.errors import DeviceError
from benchday.domain.json_path import found_in
from benchday.domain.page import Page
from benchday.domain.page_requests import Request
from benchday.domain.storage import About, Form
from benchday.domain.words import Expected
from tests.devices.pages import OSIER, page_of, shipped
from tests.fuzz.kept import kept, safe


def now(coroutine: Awaitable[Any]) -> Any:
    """Run what never waits to its end."""
    try:
        cast("Coroutine[Any, None, Any]", coroutine).send(None)
    except StopIteration as end:
        return end.value
    raise AssertionError("it waits for something")


class Told:
    """A session that is answered alike, whatever it asks."""

    def __init__(self, page: Page, body: bytes) -> None:
        self._page, self._body = page, body

    async def read(self, request: Request) -> Answer:
        """Answer."""
        return judged(self._page, request, Reply(200, self._body))


def page(name: str, data: bytes) -> None:
    """Read an answer as every reading that the page declares."""
    declared = page_of(OSIER) if name == "json" else shipped("fenbook").page
    assert declared is not None
    session = cast("PageSession", Told(declared, data))
    parts: list[tuple[Callable[..., Awaitable[object]], object, tuple[None, ...]]] = [
        (page_readings.identity, declared.identify, ()),
        (page_readings.power, declared.power, ()),
        (page_readings.recordings, declared.recordings, (None,)),
        (page_readings.settings, declared.settings, ()),
        (page_readings.sky, declared.position, ()),
    ]
    for read, part, more in parts:
        if part is None:
            continue
        try:
            kept(now(read(session, part, *more)))
        except DeviceError as error:
            safe(error)


def refusal(data: bytes) -> None:
    """Read a refusal; what it says can be shown."""
    try:
        told = refusal_of(Reply(409, data), "POST /image")
    except DeviceError as error:
        told = error  # type: ignore[assignment]
    assert str(told).isprintable()
    assert len(str(told)) <= 2_000


def sign_in(data: bytes) -> None:
    """Answer a sign-in by Digest with a challenge of any form."""
    challenge = data.replace(b"\r", b"").replace(b"\n", b"").replace(b"\0", b"")
    sent = httpx.Request("GET", "http://192.0.2.1/", content=b"")
    answers = [httpx.Response(401, headers=[(b"WWW-Authenticate", challenge)]), httpx.Response(200)]

    async def send(request: httpx.Request) -> httpx.Response:
        answer = answers.pop(0)
        answer.request = request
        return answer

    try:
        now(flow_of(httpx.DigestAuth("someone", "a secret"), sent, send))
    except DeviceError as error:
        safe(error, never="a secret")
    except ALL_OF_HTTPX:  # translated where the request is sent
        return


def json_path(data: bytes) -> None:
    """Read a path and follow it in a JSON value: what it finds is never more than the value holds."""
    text, _, value = data.decode("utf-8", "replace").partition("\n")
    try:
        told = json.loads(value)
    except (ValueError, RecursionError):
        told = {"a": [{"b": 1}, {"b": [2, 3]}], "*": {"c": "d"}}
    try:
        found = found_in(told, text)
    except Expected:
        return
    assert len(found) <= max(len(value), 20)


_ABOUT = tuple(
    About.model_validate({"file": "ABOUT.TXT", "form": form, "names": {"options": "options", "hardware": "rev"}})
    for form in Form
)


def own_file(data: bytes) -> None:
    """Read a unit's own file in both forms."""
    for about in _ABOUT:
        try:
            kept(identity_in(data, about))
        except DeviceError as error:
            safe(error)
