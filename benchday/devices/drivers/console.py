"""The driver of the serial dialogue (docs/dialogues.md)."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import aclosing, suppress
from dataclasses import replace

import anyio

from benchday.devices.drivers import console_words as words
from benchday.devices.drivers.console_image import send_image
from benchday.devices.drivers.console_line import PREFIX, ConsoleLimits, ConsoleLine
from benchday.devices.drivers.digests import one_digest_each
from benchday.devices.drivers.line_restart import LineRestart, Reached
from benchday.devices.nmea import Sentence, sky_of_gga
from benchday.devices.transfer import Monotonic, drive, monotonic_us
from benchday.devices.xmodem import Ending
from benchday.devices.xmodem_receiver import Receiver
from benchday.domain.errors import (
    Garbled,
    LinkGone,
    LinkSilent,
    Refused,
    TransferCut,
)
from benchday.domain.permits import SpentAct, Verb, restart_covered, use_act
from benchday.domain.readings import (
    Identity,
    Mode,
    PowerReading,
    Progress,
    Proof,
    Recording,
    SelfTest,
    Settings,
    Sky,
)
from benchday.domain.seams import Link

_HANG_UP = b"\x18\x18"


class ConsoleDriver:
    """Speaks with one unit over one serial line."""

    def __init__(
        self,
        link: Link,
        reopen: Callable[[], Awaitable[Link]],
        *,
        limits: ConsoleLimits | None = None,
        clock: Monotonic = monotonic_us,
    ) -> None:
        """Take over an open link.

        Args:
            link: closed by this driver.
            reopen: opens the unit's line again by its stable name, after the port went away.
            limits: real seconds.
            clock: monotonic microseconds.
        """
        self._reopen, self._clock = reopen, clock
        self._limits = limits or ConsoleLimits()
        self._line = ConsoleLine(link, clock)

    async def aclose(self) -> None:
        """Let go of the line."""
        await self._line.link.aclose()

    async def identify(self) -> Identity:
        who = await self._ask("ID")
        if who[-1:] == (Mode.BOOT.value,):
            return words.identity_of(who)

        return words.identity_of(who, await self._ask("RELEASE"), await self._ask("OPTIONS"), await self._ask("TERM"))

    async def power(self) -> PowerReading:
        return words.power_of(await self._ask("POWER"))

    async def recordings(self) -> tuple[Recording, ...]:
        listed = await self._line.ask_list("RECORDINGS", "RECORDING", self._limits.answer_s)
        told = [await self._with_digest(words.recording_of(fields)) for fields in listed]
        return one_digest_each(told)

    async def _with_digest(self, recording: Recording) -> Recording:
        try:
            digest = words.digest_of(await self._ask("SUM", recording.name))
        except Refused:
            return recording

        return Recording(recording.name, recording.bytes, digest)

    async def fetch(self, recording: Recording, sink: Callable[[bytes], Awaitable[None]]) -> AsyncIterator[Progress]:
        await self._line.say("SEND", recording.name)
        length = words.count_of(await self._line.answer_ok("SEND", self._limits.answer_s), "SEND")
        digest = hashlib.sha256()

        async def taken(piece: bytes) -> None:
            digest.update(piece)
            await sink(piece)

        receiver = Receiver(length, self._limits.receiving())
        try:
            async with aclosing(drive(self._line.link, receiver, sink=taken, clock=self._clock)) as transfer:
                async for done in transfer:
                    yield Progress(done, length, "fetching")
        finally:
            if receiver.ending is None:
                await self._hang_up()
        self._line.give_back(receiver.rest)
        if receiver.ending is not Ending.WHOLE:
            raise TransferCut(f"{recording.name} came only in part; fetch it again", receiver.done_bytes)

        await self._compare(recording, digest.hexdigest())

    async def _compare(self, recording: Recording, digest: str) -> None:
        said = words.digest_of(await self._ask("SUM", recording.name))
        if said != digest or recording.sha256 not in (None, digest):
            raise Garbled(f"the copy of {recording.name} differs from what is on the unit; fetch it again")

    async def _hang_up(self) -> None:
        # Whoever wanted the file does not any more; the unit should not go on sending.
        with anyio.move_on_after(3, shield=True), suppress(LinkGone):
            await self._line.link.send(_HANG_UP)
            quiet = False
            while not quiet:
                with anyio.move_on_after(0.3) as waiting:
                    await self._line.link.receive()
                quiet = waiting.cancelled_caught

    async def settings(self) -> Settings:
        listed = await self._line.ask_list("SETTINGS", "SETTING", self._limits.answer_s)
        return Settings(dict(words.setting_of(fields) for fields in listed))

    async def put_settings(self, act: SpentAct, settings: Settings) -> None:
        use_act(act, Verb.PUT_SETTINGS, settings.digest)
        for name, value in settings.values.items():
            await self._line.say("PUT", name, value)
            await self._line.answer_ok("PUT", self._limits.answer_s)

    def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())
        return send_image(self._line, image, self._limits, self._clock)

    async def restart(self, act: SpentAct) -> None:
        await LineRestart(
            serial=restart_covered(act).unit,
            within_s=self._limits.restart_s,
            clock=self._clock,
            poll_s=self._limits.poll_s,
            tell=self._tell_restart,
            wait=self._wait_for_hello,
            reach=self._reach_again,
        ).run()

    async def _tell_restart(self) -> None:
        await self._line.say("RESTART")
        await self._line.answer_ok("RESTART", self._limits.answer_s)

    async def _wait_for_hello(self, until_us: int) -> str:
        while True:
            left_s = max((until_us - self._clock()) / 1e6, 0)
            try:
                said = await self._line.next(_is_hello, min(left_s, self._limits.hello_s))
                return "".join(said.fields[2:3])
            except (LinkSilent, Garbled):
                if self._clock() >= until_us:
                    raise
            # The greeting may have been lost on the line.
            with suppress(LinkSilent, Garbled):
                who = await self._line.ask("ID", limit_s=1.0)
                return "".join(who[:1])

    async def _reach_again(self) -> Reached:
        await self._line.link.aclose()
        self._line = ConsoleLine(await self._reopen(), self._clock)
        who = await self._line.ask("ID", limit_s=1.0)
        return Reached("".join(who[:1]), runs=who[3:] == (Mode.RUN.value,))

    async def self_test(self) -> SelfTest:
        return words.self_test_of(await self._line.ask("TEST", limit_s=self._limits.test_s))

    async def sky(self) -> Sky:
        heard = words.air_of(await self._ask("AIR"))
        try:
            gga = await self._line.next(lambda s: s.address.endswith("GGA"), self._limits.sky_s)
        except (LinkSilent, Garbled):
            return heard
        seen = sky_of_gga(gga)
        return replace(seen, fix=heard.fix, base=heard.base, satellites=heard.satellites)

    async def prove(self, nonce: str) -> Proof | None:
        try:
            mac, *_ = await self._ask("PROOF", nonce)
        except Refused:
            return None

        return Proof(nonce, mac)

    async def _ask(self, *request: str) -> tuple[str, ...]:
        return await self._line.ask(*request, limit_s=self._limits.answer_s)


def _is_hello(sentence: Sentence) -> bool:
    return sentence.fields[:2] == (PREFIX, "HELLO")
