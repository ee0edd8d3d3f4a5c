"""Writing and restarting by a declared page."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import aclosing

import anyio
import httpx

from benchday.devices.drivers.page_answer import Answer
from benchday.devices.drivers.page_asking import asked_of, fields_of, request_name, url_of
from benchday.devices.drivers.page_session import PageSession, picked, refuse_if_told
from benchday.devices.drivers.web_session import Reply, bounded
from benchday.devices.drivers.web_upload import Form, Upload
from benchday.devices.transfer import Monotonic
from benchday.domain.errors import (
    AnotherUnit,
    DeviceError,
    Garbled,
    LinkError,
    LinkForbidden,
    LinkGone,
    LinkSilent,
    OutcomeUnknown,
    Refused,
    TransferCut,
)
from benchday.domain.page import Polled, RestartPage, WritePage
from benchday.domain.page_picks import Dimension
from benchday.domain.page_requests import Put
from benchday.domain.readings import Identity, Progress


class PageWrite:
    """One image on its way into one unit, once the act was used."""

    def __init__(self, session: PageSession, page: WritePage, image: bytes, clock: Monotonic) -> None:
        self._session, self._page, self._image, self._clock = session, page, image, clock

    async def run(self) -> AsyncGenerator[Progress]:
        """Send it and wait until the unit itself says that it is in place."""
        upload = self._upload()
        hidden = await self._hidden()  # asked before, while nothing is at stake
        try:
            async with aclosing(upload.carried_by(lambda: self._post(upload, hidden))) as carried:
                async for told in carried:
                    if isinstance(told, int):
                        yield Progress(told, len(self._image), "sending")
                    else:
                        self._taken(told)
        except (LinkError, Garbled) as error:
            raise _cut_or_unknown(upload, error) from error
        if self._page.progress is not None:
            async with aclosing(self._flash(self._page.progress)) as flashing:
                async for progress in flashing:
                    yield progress

    def _puts(self) -> dict[Put, str]:
        return {Put.BYTES: str(len(self._image)), Put.SHA256: hashlib.sha256(self._image).hexdigest()}

    def _upload(self) -> Upload:
        asked = self._page.request
        if asked.body == "raw":
            return Upload(self._image, raw=True)
        form = Form(asked.file_field or "", asked.file_name, fields_of(asked, self._puts(), {}))
        return Upload(self._image, form)

    async def _hidden(self) -> dict[str, str]:
        told = self._page.request.hidden
        if told is None:
            return {}
        answer = await self._session.read(asked_of(told.page))
        return {name: answer.text(pick, name) for name, pick in told.fields.items()}

    async def _post(self, upload: Upload, hidden: dict[str, str]) -> Reply:
        session, asked, limits = self._session, self._page.request, self._session.way.limits
        query = hidden if asked.body == "multipart" else fields_of(asked, self._puts(), hidden)
        url = url_of(session.base, asked, self._puts(), query)
        timeout = httpx.Timeout(limits.answer_s, read=limits.image_s, write=limits.flash_s)
        sent = session.client.build_request(
            asked.method, url, content=upload.body(), headers=upload.headers, timeout=timeout
        )
        async with session.opened(sent) as response:
            session.own_redirect(response, asked)
            with anyio.move_on_after(limits.image_s):
                return Reply(response.status_code, await bounded(response))
        raise LinkSilent(f"{session.where} does not finish its answer to the image")

    def _taken(self, reply: Reply) -> None:
        """Return if the unit took the whole image; else say what its answer means."""
        asked, answer = self._page.request, Answer.of(reply)
        try:
            refuse_if_told(self._session.page, asked, reply)
        except Refused as refusal:
            if refusal.code not in self._page.erased_by_then:
                raise
            raise TransferCut(
                f"the unit took the image and then refused it ({refusal.code}); send it again", len(self._image)
            ) from refusal
        if reply.status in (401, 403, 404, 405):
            raise Refused(request_name(asked), str(reply.status), "the unit did not take it")
        good = reply.status in asked.statuses if asked.statuses else 200 <= reply.status < 300
        says = asked.succeeds
        if not good or (says is not None and picked(answer, says.value) not in says.is_one_of):
            raise OutcomeUnknown(
                f"the unit answered the image with {reply.status} and {reply.body[:80]!r}, which is no success; read "
                "the unit back"
            )

    async def _flash(self, polled: Polled) -> AsyncGenerator[Progress]:
        limits, begun_us = self._session.way.limits, self._clock()
        heard_us, told = begun_us, -1
        while True:
            try:
                answer = await self._session.ask(polled.request)
                state = answer.text(polled.state, "the state of the write")
            except LinkForbidden as error:
                raise OutcomeUnknown(f"the unit does not tell how far the write is ({error}); read it back") from error
            except (LinkError, Garbled, Refused) as error:
                if self._clock() - heard_us > limits.flash_s * 1e6:
                    raise OutcomeUnknown(
                        "the unit is out of reach while it flashes; do not switch it off, read it back"
                    ) from error
            else:
                heard_us = self._clock()
                if state in polled.done:
                    return
                self._refuse_state(polled, state)
                percent = answer.whole(polled.percent, "the percentage", Dimension.PERCENT)
                if percent is not None and 0 <= percent <= 100 and percent > told:
                    told = percent
                    yield Progress(told, 100, "flashing")
            if self._clock() - begun_us > polled.longest_s * 1e6:
                raise OutcomeUnknown(f"the unit has not finished after {polled.longest_s} s; leave it on, read it back")
            await anyio.sleep(limits.poll_s)

    def _refuse_state(self, polled: Polled, state: str) -> None:
        if state in polled.failed:
            raise TransferCut(f"the unit's flash ended early ({state!r}); have it identified anew", len(self._image))
        if state not in polled.busy:
            raise OutcomeUnknown(
                f"the unit says {state[:80]!r} of the write, which the playbook does not explain; read the unit back"
            )


def _cut_or_unknown(upload: Upload, error: DeviceError) -> DeviceError:
    if upload.whole:
        return OutcomeUnknown(f"the whole image was sent, but the answer is missing; read the unit back ({error})")
    if not upload.begun:
        return error
    return TransferCut(
        f"the connection was lost while the image was sent; the unit may be half written: leave it on, and have it "
        f"identified anew ({error})",
        upload.sent_bytes,
    )


class PageRestart:
    """A restart: the order, the unit gone, the unit back."""

    def __init__(
        self,
        session: PageSession,
        page: RestartPage,
        identify: Callable[[], Awaitable[Identity]],
        clock: Monotonic,
    ) -> None:
        self._session, self._page, self._identify, self._clock = session, page, identify, clock

    async def run(self, before: Identity) -> None:
        """Restart; return when the same unit answers again.

        Raises:
            Refused: the unit does not restart.
            LinkError: it did not go, did not come back, or another came.
        """
        gone = False
        try:
            await self._session.ask(self._page.request)
        except LinkGone:
            gone = True  # some are off before they have answered
        await anyio.sleep(self._session.way.limits.settle_s)
        if not gone:
            await self._until_gone(before)
        after = await self._until_back(before.serial)
        if after.serial != before.serial:
            raise AnotherUnit(f"where unit {before.serial} was, unit {after.serial!r} answers now: was it swapped?")

    async def _until_gone(self, before: Identity) -> None:
        until_us = self._clock() + self._page.gone_within_s * 1_000_000
        while self._clock() <= until_us:
            try:
                reply = await self._session.reply(self._session.page.identify.request)
                if reply is None:
                    return  # it knows our sign-in no more
                now = await self._identify()
            except LinkForbidden:
                raise
            except (LinkError, Garbled, Refused):
                return
            if (now.mode, now.release) != (before.mode, before.release):
                return
            await anyio.sleep(self._session.way.limits.poll_s)
        raise LinkSilent(f"unit {before.serial} was told to restart and did not; look at it")

    async def _until_back(self, serial: str) -> Identity:
        until_us = self._clock() + self._page.back_within_s * 1_000_000
        missing: DeviceError
        while True:
            try:
                return await self._identify()
            except LinkForbidden:
                raise
            except (LinkError, Garbled, Refused) as error:
                missing = error
            if self._clock() > until_us:
                raise LinkSilent(f"unit {serial} did not come back: {missing}") from missing
            await anyio.sleep(self._session.way.limits.poll_s)
