"""The driver of the web dialogue (docs/dialogues.md)."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable
from contextlib import aclosing
from urllib.parse import quote

import anyio
import httpx

from benchday.devices.drivers import web_words as words
from benchday.devices.drivers.web_errors import ALL_OF_HTTPX, translated
from benchday.devices.drivers.web_session import Reply, WebLimits, WebSession, bounded, refusal_of
from benchday.devices.drivers.web_upload import Upload
from benchday.devices.transfer import Monotonic, monotonic_us
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
from benchday.domain.permits import SpentAct, Verb, restart_covered, use_act
from benchday.domain.readings import Identity, PowerReading, Progress, Proof, Recording, SelfTest, Settings, Sky

_ERASED_BY_THEN = ("crc", "size")
"""Refusals that come after the old release was erased."""


class WebDriver:
    """Speaks with one unit over its own page."""

    def __init__(
        self, session: WebSession, *, limits: WebLimits | None = None, clock: Monotonic = monotonic_us
    ) -> None:
        self._session, self._limits, self._clock = session, limits or WebLimits(), clock

    async def aclose(self) -> None:
        """Let go of the connection."""
        await self._session.aclose()

    async def identify(self) -> Identity:
        return (await self._status()).identity()

    async def power(self) -> PowerReading:
        return (await self._status()).power.reading()

    async def settings(self) -> Settings:
        return (await self._status()).all_settings()

    async def recordings(self) -> tuple[Recording, ...]:
        listed = words.said(words.RECORDINGS, await self._session.read("GET", "/recordings"))
        return tuple(recording.reading() for recording in listed)

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]:
        digest, done = hashlib.sha256(), 0
        whole_s = self._limits.answer_s + recording.bytes / self._limits.fetch_bytes_per_s
        until_us = self._clock() + round(whole_s * 1e6)
        try:
            async with self._session.opened("GET", _path("/recordings", recording.name)) as response:
                if response.status_code != httpx.codes.OK:
                    raise Refused(f"fetch {recording.name}", "missing")
                async for piece in response.aiter_raw():
                    done += len(piece)
                    _in_time(self._clock() <= until_us, done, whole_s)
                    if done > recording.bytes:
                        raise Garbled(f"{recording.name} is longer than the {recording.bytes} bytes announced")
                    digest.update(piece)
                    await sink(piece)
                    yield Progress(done, recording.bytes, "fetching")
        except (LinkGone, LinkSilent) as error:
            raise TransferCut(f"{recording.name} came only in part; fetch it again ({error})", done) from error
        if done != recording.bytes or recording.sha256 not in (None, digest.hexdigest()):
            raise Garbled(f"the copy of {recording.name} differs from what is on the unit; fetch it again")

    async def put_settings(self, act: SpentAct, settings: Settings) -> None:
        use_act(act, Verb.PUT_SETTINGS, settings.digest)
        for name, value in settings.values.items():
            await self._session.tell("PUT", _path("/settings", name), httpx.codes.NO_CONTENT, body=value)

    def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())
        return self._write(image)

    async def _write(self, image: bytes) -> AsyncIterator[Progress]:
        await self._status()  # signed in before, so that an upload is never turned away half way for that
        upload = Upload(image)
        try:
            async with aclosing(upload.carried_by(lambda: self._post(upload))) as carried:
                async for told in carried:
                    if isinstance(told, int):
                        yield Progress(told, len(image), "sending")
                    else:
                        _taken(told, len(image))
        except (LinkError, Garbled) as error:
            raise _cut_or_unknown(upload, error) from error
        async with aclosing(self._flash(len(image))) as flashing:
            async for progress in flashing:
                yield progress

    async def _post(self, upload: Upload) -> Reply:
        timeout = httpx.Timeout(self._limits.answer_s, read=self._limits.image_s, write=self._limits.flash_s)
        url = f"{self._session.where.rstrip('/')}/image"
        sending = self._session.client.stream(
            "POST", url, content=upload.body(), headers=upload.headers, timeout=timeout
        )
        try:
            async with sending as response:
                with anyio.fail_after(self._limits.image_s):
                    return Reply(response.status_code, await bounded(response))
        except TimeoutError:
            raise LinkSilent(f"{self._session.where} began to answer and came to no end") from None
        except ALL_OF_HTTPX as error:
            raise translated(error, self._session.where) from error

    async def _flash(self, sent_bytes: int) -> AsyncGenerator[Progress]:
        on_us, told = self._clock(), -1
        while True:
            try:
                image = words.said(words.ImageSaid, await self._session.ask("GET", "/image"))
            except (LinkError, Garbled) as error:
                if self._clock() - on_us > self._limits.flash_s * 1e6:
                    raise OutcomeUnknown(
                        "the unit is out of reach while it flashes; do not switch it off, read it back"
                    ) from error
            else:
                if image.state == "done":
                    return
                if image.state != "flashing":
                    raise TransferCut(
                        f"the unit's flash ended early ({image.state}); have it identified anew", sent_bytes
                    )
                if image.percent > told:
                    told, on_us = image.percent, self._clock()
                    yield Progress(told, 100, "flashing")
                elif self._clock() - on_us > self._limits.flash_s * 1e6:
                    raise OutcomeUnknown(f"the unit's flash stands at {told} %; do not switch it off, read it back")
            await anyio.sleep(self._limits.poll_s)

    async def restart(self, act: SpentAct) -> None:
        serial = restart_covered(act).unit
        await self._session.tell("POST", "/restart", httpx.codes.ACCEPTED)
        until_us = self._clock() + round(self._limits.restart_s * 1e6)
        await anyio.sleep(self._limits.settle_s)
        missing: DeviceError
        while True:
            try:
                answered = await self.identify()
                break
            except LinkForbidden:
                raise
            except (LinkError, Garbled) as error:
                missing = error
            if self._clock() > until_us:
                raise LinkSilent(f"unit {serial} did not come back: {missing}") from missing
            await anyio.sleep(self._limits.poll_s)
        if answered.serial != serial:
            raise AnotherUnit(f"where unit {serial} was, unit {answered.serial} answers now: was it swapped?")

    async def self_test(self) -> SelfTest:
        reply = await self._session.read("POST", "/test", limit_s=self._limits.test_s)
        return words.said(words.TestSaid, reply).reading()

    async def sky(self) -> Sky:
        air = words.said(words.AirSaid, await self._session.read("GET", "/air"))
        try:
            position = words.said(words.PositionSaid, await self._session.read("GET", "/position"))
        except Refused:
            position = None
        return words.sky_of(air, position)

    async def prove(self, nonce: str) -> Proof | None:
        try:
            reply = await self._session.read("POST", "/proof", body={"nonce": nonce})
        except Refused:
            return None

        return Proof(nonce, words.said(words.ProofSaid, reply).mac)

    async def _status(self) -> words.StatusSaid:
        return words.said(words.StatusSaid, await self._session.read("GET", "/status"))


def _in_time(still: bool, done: int, whole_s: float) -> None:
    if not still:
        raise LinkSilent(f"{done} bytes in {whole_s:.0f} s are too slow to go on")


def _path(folder: str, name: str) -> str:
    if name in (".", ".."):
        raise Garbled(f"the unit speaks of something called {name!r}, which cannot be asked for")

    return f"{folder}/{quote(name, safe='')}"


def _taken(reply: Reply, length: int) -> None:
    """Return if the unit took the whole image; else say what its answer means."""
    if reply.status == httpx.codes.ACCEPTED:
        return
    if reply.status == httpx.codes.CONFLICT:
        refusal = refusal_of(reply, "write")
        if refusal.code not in _ERASED_BY_THEN:
            raise refusal
        raise TransferCut(f"the unit took the image and then refused it ({refusal.code}); send it again", length)
    if reply.status in (httpx.codes.UNAUTHORIZED, httpx.codes.FORBIDDEN, httpx.codes.NOT_FOUND):
        raise Refused("write", str(reply.status), "the unit did not take it")

    raise OutcomeUnknown(f"the unit answered the image with {reply.status}; read the unit back")


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
