"""The driver of a unit's own page as its playbook declares it (docs/pages.md)."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable
from contextlib import aclosing
from dataclasses import replace

import httpx

from benchday.devices.completed import METHODS_BY_KEY
from benchday.devices.drivers import page_readings as readings
from benchday.devices.drivers.page_asking import built
from benchday.devices.drivers.page_session import PageSession, Way, refuse_if_told
from benchday.devices.drivers.page_write import PageRestart, PageWrite
from benchday.devices.drivers.web_session import Address, Reply
from benchday.devices.transfer import Monotonic, monotonic_us
from benchday.domain.errors import Garbled, LinkError, LinkForbidden, LinkGone, LinkSilent, Refused, TransferCut
from benchday.domain.page import Page
from benchday.domain.page_requests import Put
from benchday.domain.permits import SpentAct, Verb, restart_covered, use_act
from benchday.domain.readings import Identity, PowerReading, Progress, Proof, Recording, SelfTest, Settings, Sky

LONGEST_REFUSAL = 4096
"""bytes of an answer in place of a recording that are looked at for a refusal"""


class PageDriver:
    """Speaks with one unit over its own page. It has the capabilities that the playbook declares, and no other."""

    def __init__(self, page: Page, way: Way, *, unit: str = "", clock: Monotonic = monotonic_us) -> None:
        """Prepare; nothing is sent yet.

        Args:
            page: as the playbook declares it.
            way: where the page is and how it is reached.
            unit: serial as checked in; empty where nobody checked one in.
            clock: monotonic microseconds.
        """
        self._page, self._way, self._unit, self._clock = page, way, unit, clock
        self._session = PageSession(page, way)
        self._known = _Known(self._session, page, unit)
        acts = _Acts(page, self._session, self._known, clock)
        for part, method in METHODS_BY_KEY.items():
            if part != "identify" and getattr(page, part) is not None:
                setattr(self, method, getattr(acts, method))

    async def aclose(self) -> None:
        """Let go of the connection."""
        await self._session.aclose()

    async def identify(self) -> Identity:
        """Read who the unit is, with what is to be said of its sign-in and its certificate."""
        return await self._known.told()


class _Known:
    """Who answers: the serial is read before anything else, and again after every sign-in or loss."""

    def __init__(self, session: PageSession, page: Page, unit: str) -> None:
        self._session, self._page, self._unit = session, page, unit
        self._turn = -1
        self._factory: bool | None = None

    async def told(self) -> Identity:
        """Read the identity, with remarks; an unexpected serial is for whoever asks to judge."""
        found = await self.read()
        return replace(found, remarks=await self._remarks(found), certificate=self._session.way.pin.fingerprint)

    async def read(self) -> Identity:
        """Read the identity."""
        found = await readings.identity(self._session, self._page.identify)
        if not self._unit or found.serial == self._unit:
            self._turn = self._session.turn
            self._session.way.pin.keep()
        return found

    async def sure(self) -> None:
        """Have the serial read; nothing else is asked of a unit that is another one.

        Raises:
            LinkGone: another unit answers than was checked in.
        """
        if self._turn != self._session.turn:
            found = await self.read()
            if self._unit and found.serial != self._unit:
                raise LinkGone(
                    f"where unit {self._unit} should be, unit {found.serial!r} answers: which network is this?"
                )

    async def _remarks(self, found: Identity) -> tuple[str, ...]:
        factory = self._page.factory
        if factory is None or (self._unit and found.serial != self._unit):
            return ()
        if self._session.credentials.factory:
            return (_FACTORY,)
        if factory.tried and self._factory is None:
            self._factory = await self._factory_opens()
        return (_FACTORY,) if self._factory else ()

    async def _factory_opens(self) -> bool | None:
        """Try the factory's password in a session of its own; None where that could not be told."""
        factory = self._page.factory
        assert factory is not None  # noqa: S101 - asked before
        address = Address(self._session.where, factory.user, factory.password)
        way = replace(self._session.way, find=lambda: address)
        other = PageSession(self._page, way)
        try:
            await other.ask(self._page.identify.request)
        except LinkForbidden:
            return False
        except (LinkError, Garbled, Refused):
            return None
        finally:
            await other.aclose()
        return True


_FACTORY = (
    "the password that this kind of unit is delivered with opens its page: whoever stands near can change it; have the "
    "owner set another"
)


class _Acts:
    """Every capability but identify."""

    def __init__(self, page: Page, session: PageSession, known: _Known, clock: Monotonic) -> None:
        self._page, self._session, self._known, self._clock = page, session, known, clock

    async def power(self) -> PowerReading:
        assert self._page.power is not None  # noqa: S101 - only declared ones are reached
        await self._known.sure()
        return await readings.power(self._session, self._page.power)

    async def settings(self) -> Settings:
        assert self._page.settings is not None  # noqa: S101 - only declared ones are reached
        await self._known.sure()
        return await readings.settings(self._session, self._page.settings)

    async def recordings(self) -> tuple[Recording, ...]:
        assert self._page.recordings is not None  # noqa: S101 - only declared ones are reached
        await self._known.sure()
        fetch = self._page.fetch.request if self._page.fetch is not None else None
        return await readings.recordings(self._session, self._page.recordings, fetch)

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]:
        assert self._page.fetch is not None  # noqa: S101 - only declared ones are reached
        await self._known.sure()
        digest, done, until_us = hashlib.sha256(), 0, self._clock() + self._fetch_us(recording.bytes)
        head = b""
        try:
            async with aclosing(self._pieces(recording)) as pieces:
                async for piece in pieces:
                    done += len(piece)
                    _in_bounds(recording, done, late=self._clock() > until_us)
                    digest.update(piece)
                    head += piece[: LONGEST_REFUSAL - len(head)]
                    await sink(piece)
                    yield Progress(done, recording.bytes, "fetching")
        except (LinkGone, LinkSilent) as error:
            raise TransferCut(f"{recording.name} came only in part; fetch it again ({error})", done) from error
        if len(head) == done != recording.bytes:
            # A page that says everything with status 200 says no so, too, where a recording has gone meanwhile.
            refuse_if_told(self._page, self._page.fetch.request, Reply(httpx.codes.OK, head))
        if done != recording.bytes or recording.sha256 not in (None, digest.hexdigest()):
            raise Garbled(f"the copy of {recording.name} differs from what is on the unit; fetch it again")

    def _fetch_us(self, size: int) -> int:
        """Return how long a copy may take at most."""
        limits = self._session.way.limits
        return round((limits.answer_s + size / limits.fetch_bytes_per_s) * 1e6)

    async def _pieces(self, recording: Recording) -> AsyncGenerator[bytes]:
        assert self._page.fetch is not None  # noqa: S101 - only declared ones are reached
        asked, session, puts = self._page.fetch.request, self._session, {Put.NAME: recording.name}
        for again in (False, True):
            async with session.opened(built(session.client, session.base, asked, puts, {})) as response:
                session.own_redirect(response, asked)
                if response.status_code != httpx.codes.UNAUTHORIZED or again:
                    if response.status_code != httpx.codes.OK:
                        raise Refused(f"fetch {recording.name}", "missing", f"answer {response.status_code}")
                    async for piece in response.aiter_raw():
                        yield piece
                    return
            await session.sign_in()
            await self._known.sure()

    async def put_settings(self, act: SpentAct, settings: Settings) -> None:
        serial = use_act(act, Verb.PUT_SETTINGS, settings.digest).unit
        assert self._page.put_settings is not None  # noqa: S101 - only declared ones are reached
        await self._same(serial)
        for name, value in settings.values.items():
            await self._session.ask(self._page.put_settings.request, {Put.NAME: name, Put.VALUE: value})

    def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        serial = use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest()).unit
        return self._write(serial, image)

    async def _write(self, serial: str, image: bytes) -> AsyncIterator[Progress]:
        assert self._page.write is not None  # noqa: S101 - only declared ones are reached
        await self._same(serial)  # signed in by that, so that an upload is not turned away half way
        async for progress in PageWrite(self._session, self._page.write, image, self._clock).run():
            yield progress

    async def restart(self, act: SpentAct) -> None:
        serial = restart_covered(act).unit
        assert self._page.restart is not None  # noqa: S101 - only declared ones are reached
        before = await self._same(serial)
        await PageRestart(self._session, self._page.restart, self._known.read, self._clock).run(before)

    async def _same(self, serial: str) -> Identity:
        """Read the serial once more, right before something is changed.

        Raises:
            LinkGone: it is another unit.
        """
        found = await self._known.read()
        if found.serial != serial:
            raise LinkGone(f"where unit {serial} should be, unit {found.serial!r} answers: nothing was changed")
        return found

    async def self_test(self) -> SelfTest:
        page = self._page.self_test
        assert page is not None  # noqa: S101 - only declared ones are reached
        await self._known.sure()
        answer = await self._session.ask(page.request, limit_s=float(page.longest_s))
        said = answer.text(page.passed.value, "the outcome of the self-test")
        return SelfTest(passed=said in page.passed.is_one_of, words=answer.maybe(page.words, "its words") or "")

    async def sky(self) -> Sky:
        assert self._page.position is not None  # noqa: S101 - only declared ones are reached
        await self._known.sure()
        return await readings.sky(self._session, self._page.position)

    async def prove(self, nonce: str) -> Proof | None:
        page = self._page.prove
        assert page is not None  # noqa: S101 - only declared ones are reached
        await self._known.sure()
        try:
            answer = await self._session.read(page.request, {Put.NONCE: nonce})
        except Refused:
            return None
        return Proof(nonce, answer.text(page.mac, "the proof"))


def _in_bounds(recording: Recording, done: int, *, late: bool) -> None:
    if done > recording.bytes:
        raise Garbled(f"{recording.name} is longer than the {recording.bytes} bytes announced")
    if late:
        raise LinkSilent("it comes slower than the driver's setting fetch_bytes_per_s allows")
