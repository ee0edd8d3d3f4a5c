"""A session with a declared page: requests, sign-in, and whether an answer means yes.

Only the unit's own address is ever asked: a redirect that leaves it is refused, and no proxy is used.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass

import anyio
import httpx

from benchday.devices.drivers.page_answer import Answer
from benchday.devices.drivers.page_asking import asked_of, built, request_name
from benchday.devices.drivers.page_sign_in import Credentials, flow_of
from benchday.devices.drivers.page_wire import Adapter, Pin, UnitTransport
from benchday.devices.drivers.web_errors import ALL_OF_HTTPX, translated
from benchday.devices.drivers.web_first import PatientAtFirst
from benchday.devices.drivers.web_session import Address, Reply, WebLimits, bounded
from benchday.domain.errors import BenchdayError, Garbled, LinkError, LinkForbidden, LinkGone, LinkSilent, Refused
from benchday.domain.page import Page
from benchday.domain.page_picks import Pick
from benchday.domain.page_requests import Put, Request

MOST_REDIRECTS = 3
_REDIRECTS = (301, 302, 303, 307, 308)
_SHOWN = 120

Puts = Mapping[Put, str]


@dataclass(frozen=True, slots=True)
class Way:
    """Where a unit's page is and how it is reached."""

    find: Callable[[], Address]
    """Says where it is now, and who signs in."""
    pin: Pin
    adapter: Adapter
    limits: WebLimits


class PageSession:
    """Asks one unit's page."""

    def __init__(self, page: Page, way: Way) -> None:
        """Prepare; nothing is sent yet."""
        self.page, self.way = page, way
        self.address = way.find()
        self.base = httpx.URL(self.address.url)
        self.client = httpx.AsyncClient(
            follow_redirects=False,
            trust_env=False,
            timeout=way.limits.answer_s,
            transport=PatientAtFirst(UnitTransport(self.base, way.adapter, way.pin), way.limits.appears_s),
            headers={"Accept-Encoding": "identity"},
        )
        self.credentials = Credentials(page, self.address)
        self.turn = 0
        """Grows with every sign-in and every loss: what was read before may be of another unit."""

    @property
    def where(self) -> str:
        return self.address.url

    async def aclose(self) -> None:
        await self.client.aclose()

    async def read(self, request: Request, puts: Puts | None = None, limit_s: float | None = None) -> Answer:
        """Ask for a reading; asked once more after silence or an answer that cannot be read.

        Raises:
            Refused, Garbled, LinkError
        """
        try:
            return await self.ask(request, puts, limit_s)
        except (LinkSilent, Garbled):
            return await self.ask(request, puts, limit_s)

    async def ask(self, request: Request, puts: Puts | None = None, limit_s: float | None = None) -> Answer:
        """Ask once, signing in if the unit wants that.

        Raises:
            Refused, Garbled, LinkError
        """
        for _ in range(2):
            reply = await self.reply(request, puts, limit_s)
            if reply is not None:
                return judged(self.page, request, reply)
            await self.sign_in()
        raise self.credentials.not_known(self.where)

    async def reply(self, request: Request, puts: Puts | None = None, limit_s: float | None = None) -> Reply | None:
        """Ask once without signing in; None if the unit wants that first.

        Raises:
            Garbled, LinkError
            Refused: it points to another address.
        """
        hidden = await self._hidden(request)
        if hidden is None:
            return None
        return await self._whole(lambda: built(self.client, self.base, request, puts or {}, hidden), request, limit_s)

    async def _whole(
        self, build: Callable[[], httpx.Request], request: Request, limit_s: float | None = None
    ) -> Reply | None:
        limit_s = limit_s or self.way.limits.answer_s
        try:
            with anyio.fail_after(limit_s):
                return await self._followed(build(), request)
        except TimeoutError:
            self.turn += 1
            raise self.lost(f"{self.where} does not answer in {limit_s:g} s: is the unit on, and near?") from None

    async def _followed(self, sent: httpx.Request, request: Request) -> Reply | None:
        for _ in range(MOST_REDIRECTS + 1):
            async with self.opened(sent) as response:
                if response.status_code == httpx.codes.UNAUTHORIZED:
                    return None
                reply = Reply(response.status_code, await bounded(response))
                onward = self.own_redirect(response, request)
            if onward is None or response.status_code in request.statuses:
                again = self.page.sign_in.wanted_again
                return None if again is not None and Answer.of(reply).raw(again) is not None else reply
            if onward.path in {self.page.sign_in.form, self.page.sign_in.post}:
                return None
            if sent.method != "GET" and response.status_code in (307, 308):
                raise Garbled(f"the unit wants {request_name(request)} sent again elsewhere, which is not done")
            sent = self.client.build_request("GET", onward)
        raise Garbled(f"the unit's answer to {request_name(request)} points on and on")

    async def _hidden(self, request: Request) -> Mapping[str, str] | None:
        """Read the values that the request takes off a page; None if the unit wants a sign-in first."""
        if request.hidden is None:
            return {}
        asked = asked_of(request.hidden.page)
        reply = await self.reply(asked)
        if reply is None:
            return None
        answer = judged(self.page, asked, reply)
        return {name: answer.text(pick, name) for name, pick in request.hidden.fields.items()}

    @asynccontextmanager
    async def opened(self, sent: httpx.Request) -> AsyncIterator[httpx.Response]:
        """Send a request and open its answer.

        Raises:
            LinkError, Garbled: translated from httpx.
        """
        try:
            response = await flow_of(self.credentials.auth, sent, self._send)
            try:
                yield response
            finally:
                await response.aclose()
        except ALL_OF_HTTPX as error:
            self.turn += 1
            raise self.ours(error) from error

    async def _send(self, sent: httpx.Request) -> httpx.Response:
        return await self.client.send(sent, stream=True, auth=None)

    def own_redirect(self, response: httpx.Response, request: Request) -> httpx.URL | None:
        """Return where an answer points on the unit itself; None if it points nowhere.

        Raises:
            Refused: it points to another address, which is never asked.
        """
        location = response.headers.get("location")
        if response.status_code not in _REDIRECTS or location is None:
            return None
        try:
            onward = self.base.join(location)
        except httpx.InvalidURL:
            raise Garbled(f"the unit points to {location[:_SHOWN]!r}, which is no address") from None
        if _origin(onward) != _origin(self.base):
            there = f"{onward.scheme}://{onward.netloc.decode('ascii', 'replace')}"[:_SHOWN]
            raise Refused(
                request_name(request),
                "redirect",
                f"it points to {there!r}, which is not this unit ({self.where}); that is never followed",
            )
        return onward

    async def sign_in(self) -> None:
        """Sign in anew.

        Raises:
            LinkForbidden: the unit does not accept the user and password.
            LinkError
        """
        self.address = self.way.find()
        self.client.cookies.clear()
        self.credentials = Credentials(self.page, self.address, tried_before=self.credentials.used)
        self.turn += 1
        sign_in = self.page.sign_in
        if sign_in.way == "none":
            raise self.credentials.not_known(self.where)
        self.credentials.used = True
        if sign_in.way != "form":
            return  # user and password travel with each request
        fields = self.credentials.fields()
        if sign_in.form is not None:
            asked = asked_of(sign_in.form)
            form = judged(self.page, asked, await self._once(asked, {}))
            fields = {name: form.text(pick, name) for name, pick in sign_in.hidden.items()} | fields
        self._let_in(await self._once(self.credentials.request, fields))

    async def _once(self, request: Request, fields: Mapping[str, str]) -> Reply:
        """Ask a page of the sign-in itself, which is never signed in for, nor followed."""
        limit_s = self.way.limits.answer_s
        try:
            with anyio.fail_after(limit_s):
                async with self.opened(built(self.client, self.base, request, {}, fields)) as response:
                    onward = self.own_redirect(response, request)
                    back = onward is not None and request.method == "POST" and onward.path == self.page.sign_in.form
                    status = httpx.codes.FORBIDDEN if back else response.status_code
                    return Reply(status, await bounded(response))
        except TimeoutError:
            raise self.lost(f"{self.where} does not answer in {limit_s:g} s: is the unit on, and near?") from None

    def _let_in(self, reply: Reply) -> None:
        sign_in, answer = self.page.sign_in, Answer.of(reply)
        refused = reply.status not in sign_in.statuses or bool(picked(answer, sign_in.refused))
        says = sign_in.succeeds
        if refused or (says is not None and picked(answer, says.value) not in says.is_one_of):
            raise LinkForbidden(
                f"{self.where} does not let this user in (answer {reply.status}): check user and password"
            )

    def ours(self, error: Exception) -> BenchdayError:
        """Turn an error of httpx into ours, and say if this computer has left the unit's network."""
        told = translated(error, self.where)
        left = self.way.adapter.left() if isinstance(told, LinkError) else None
        return LinkGone(left) if left is not None else told

    def lost(self, words: str) -> LinkError:
        """Return the error for silence: of the unit, or because this computer has left its network."""
        left = self.way.adapter.left()
        return LinkGone(left) if left is not None else LinkSilent(words)


def judged(page: Page, request: Request, reply: Reply) -> Answer:
    """Return an answer that means yes; a 200 alone does not.

    Raises:
        Refused, Garbled, LinkForbidden
    """
    answer, name = Answer.of(reply), request_name(request)
    refuse_if_told(page, request, reply)
    good = reply.status in request.statuses if request.statuses else 200 <= reply.status < 300
    if not good:
        if reply.status in (httpx.codes.NOT_FOUND, httpx.codes.METHOD_NOT_ALLOWED):
            raise Refused(name, "missing")
        if reply.status == httpx.codes.FORBIDDEN:
            raise LinkForbidden(f"the unit does not let this user do {name}: check what the user may do")
        raise Garbled(f"the unit answered {name} with {reply.status}")
    says = request.succeeds
    if says is not None and picked(answer, says.value) not in says.is_one_of:
        raise Refused(name, "no success", f"it answered {reply.status}, but says {reply.body[:_SHOWN]!r}")
    return answer


def refuse_if_told(page: Page, request: Request, reply: Reply) -> None:
    """Say no if the answer does, whatever its status.

    Raises:
        Refused
    """
    answer = Answer.of(reply)
    code = picked(answer, page.refusal.code)
    if code or reply.status in page.refusal.statuses:
        words = picked(answer, page.refusal.words) or ""
        raise Refused(request_name(request), code or str(reply.status), words[:_SHOWN])


def picked(answer: Answer, pick: Pick | None) -> str | None:
    """Pick a value that need not be there, in an answer of any kind."""
    try:
        return answer.raw(pick)
    except Garbled:
        return None


def _origin(url: httpx.URL) -> tuple[str, str, int]:
    return url.scheme, url.host, url.port or (443 if url.scheme == "https" else 80)
