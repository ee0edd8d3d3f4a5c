"""The driver of serial dialogues that a playbook declares: it has the capabilities whose exchanges are declared."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import suppress
from functools import partial
from typing import TypeVar

import anyio

from benchday.devices.completed import METHODS_BY_KEY
from benchday.devices.drivers import dialogue_words as words
from benchday.devices.drivers.dialogue_carried import Sink, fetch, send_image, sum_of
from benchday.devices.drivers.dialogue_line import DialogueLine
from benchday.devices.drivers.dialogue_talk import DialogueLimits, Fields, Talk
from benchday.devices.drivers.digests import one_digest_each
from benchday.devices.drivers.line_restart import LineRestart, Reached
from benchday.devices.transfer import Monotonic, monotonic_us
from benchday.domain.dialogue import Dialogue, Restart
from benchday.domain.dialogue_parts import Framing
from benchday.domain.errors import (
    Garbled,
    LinkSilent,
    Refused,
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

_T = TypeVar("_T")


class DialogueDriver:
    """Speaks with one unit over one serial line.

    The methods of its capabilities are set on the object, each only if the dialogue declares what is said for it, so
    that what is missing is filled in by hand as for any driver.
    """

    def __init__(
        self,
        link: Link,
        reopen: Callable[[], Awaitable[Link]],
        dialogue: Dialogue,
        unit: str,
        *,
        limits: DialogueLimits | None = None,
        clock: Monotonic = monotonic_us,
    ) -> None:
        """Take over an open link.

        Args:
            link: closed by this driver.
            reopen: opens the unit's line again by its stable name, after the port went away.
            dialogue: what is said and heard.
            unit: serial as checked in, where it is said on the line.
            limits: real seconds.
            clock: monotonic microseconds.
        """
        self._reopen, self._dialogue, self._unit, self._clock = reopen, dialogue, unit, clock
        self._limits = limits or DialogueLimits()
        self._awake = dialogue.wake is None
        self._talk = self._talking_on(link)
        for key, name in METHODS_BY_KEY.items():
            if getattr(dialogue, key) is not None:
                setattr(self, name, getattr(self, f"_{name}"))

    def _talking_on(self, link: Link) -> Talk:
        line = DialogueLine(link, self._dialogue.line, self._clock)
        return Talk(line, self._dialogue, self._unit, self._limits)

    async def aclose(self) -> None:
        """Let go of the line."""
        await self._talk.line.link.aclose()

    async def _awoken(self) -> Talk:
        if not self._awake:
            await self._talk.wake()
            self._awake = True
        return self._talk

    async def _identify(self) -> Identity:
        told = await self._who()
        # Nothing protects a plain line: what decides which unit this is must be heard twice alike.
        if self._dialogue.line.framing is Framing.PLAIN and await self._who() != told:
            raise Garbled("the unit was heard to say two things of itself: is there noise on the line?")
        return words.identity_of(self._dialogue.identify, told)

    async def _who(self) -> Fields:
        """Ask who the unit is; in its boot loader only what it tells at once."""
        asked, told = self._dialogue.identify, Fields()
        for exchange in asked.ask:
            talk = await self._awoken()
            try:
                told |= await talk.ask(exchange)
            except LinkSilent:
                self._awake = self._dialogue.wake is None
                raise
            if words.in_our_words(asked, told).get("mode") == Mode.BOOT.value and "serial" in told:
                break
        return told

    async def _power(self) -> PowerReading:
        asked = _declared(self._dialogue.power)
        return words.power_of(asked, await (await self._awoken()).ask_all(asked.ask))

    async def _recordings(self) -> tuple[Recording, ...]:
        asked, talk = _declared(self._dialogue.recordings), await self._awoken()
        listed = [words.recording_of(fields) for fields in await talk.listed(asked.list)]
        return one_digest_each(
            [Recording(r.name, r.bytes, r.sha256 or await sum_of(talk, asked, r.name)) for r in listed]
        )

    async def _fetch(self, recording: Recording, sink: Sink) -> AsyncIterator[Progress]:
        talk = await self._awoken()
        async for progress in fetch(talk, _declared(self._dialogue.fetch), recording, sink, self._clock):
            yield progress

    async def _settings(self) -> Settings:
        talk = await self._awoken()
        listed = await talk.listed(_declared(self._dialogue.settings).list)
        return Settings({fields["name"].strip(): fields["value"].strip() for fields in listed})

    async def _put_settings(self, act: SpentAct, settings: Settings) -> None:
        use_act(act, Verb.PUT_SETTINGS, settings.digest)
        asked, talk = _declared(self._dialogue.put_settings), await self._awoken()
        for name, value in settings.values.items():
            await talk.ask_all(asked.ask, {"name": name, "value": value}, once=True)

    def _write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        spent = use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())
        return self._sent(image, spent.act.release or "")

    async def _sent(self, image: bytes, release: str) -> AsyncIterator[Progress]:
        talk = await self._awoken()
        async for progress in send_image(talk, _declared(self._dialogue.write), image, release, self._clock):
            yield progress

    async def _restart(self, act: SpentAct) -> None:
        asked = _declared(self._dialogue.restart)
        await LineRestart(
            serial=restart_covered(act).unit,
            within_s=float(asked.seconds),
            clock=self._clock,
            poll_s=self._limits.poll_s,
            tell=partial(self._tell_restart, asked),
            wait=partial(self._wait_for_it, asked),
            reach=self._reach_again,
        ).run()

    async def _tell_restart(self, asked: Restart) -> None:
        await (await self._awoken()).ask_all(asked.ask, once=True)
        self._awake = self._dialogue.wake is None

    async def _wait_for_it(self, asked: Restart, until_us: int) -> str:
        """Wait for the greeting, which may have been lost on the line, and ask who answers."""
        while True:
            if asked.greeting is not None:
                left_s = max((until_us - self._clock()) / 1e6, 0)
                with suppress(LinkSilent, Garbled, Refused):
                    await self._talk.hear(asked.greeting.hear, min(left_s, float(asked.greeting.seconds)))
            try:
                return (await self._answering()).serial
            except (LinkSilent, Garbled, Refused):
                if self._clock() >= until_us:
                    raise
                await anyio.sleep(self._limits.poll_s)

    async def _answering(self) -> Reached:
        asked, talk = self._dialogue.identify, await self._awoken()
        for exchange in asked.ask:
            told = await talk.ask(exchange, once=True)
            if "serial" in told:
                mode = words.in_our_words(asked, told).get("mode")
                return Reached(told["serial"].strip(), runs=mode == Mode.RUN.value)
        return Reached("", runs=False)

    async def _reach_again(self) -> Reached:
        await self._talk.line.link.aclose()
        self._talk = self._talking_on(await self._reopen())
        self._awake = self._dialogue.wake is None
        return await self._answering()

    async def _self_test(self) -> SelfTest:
        asked = _declared(self._dialogue.self_test)
        return words.self_test_of(asked, await (await self._awoken()).ask_all(asked.ask))

    async def _sky(self) -> Sky:
        asked, talk = _declared(self._dialogue.position), await self._awoken()
        told: Fields = {}
        for exchange in asked.ask:
            try:
                told |= await talk.ask(exchange)
            except (LinkSilent, Garbled):
                if not exchange.optional:
                    raise
        return words.sky_of(asked, told)

    async def _prove(self, nonce: str) -> Proof | None:
        told = await (await self._awoken()).ask_all(_declared(self._dialogue.prove).ask, {"nonce": nonce})
        # As long as a digest: what is shorter may be the nonce, given back by a line that repeats what is said on it.
        return Proof(nonce, words.digest_of(told["mac"])) if "mac" in told else None


def _declared(part: _T | None) -> _T:
    assert part is not None  # noqa: S101  # the method is there only if the part is
    return part
