"""A driver for the Teasel (maker Ashcombe), which does not exist: a level that says who it is and takes an image.

Its dialogue: ``<number> <words> <CRC-32 as 8 hex digits>`` and a line feed, each answer with its request's number. The
number tells a late answer from the one that was asked for, and the CRC a damaged one from a whole one.

    who            -> teasel <serial> <revision> <run or boot> <release>
    get NAME       -> value <text>
    put NAME TEXT  -> done
    image BYTES    -> go, then so many bytes; then: taken <SHA-256>, or no <reason> and the old release stays
    restart        -> done, and the same line answers again after the start
"""

from __future__ import annotations

import hashlib
import itertools
import zlib
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass

import anyio

from benchday.devices.drivers import Place
from benchday.devices.drivers.makers import takes
from benchday.devices.drivers.settings import refuse_unknown, taken_from
from benchday.devices.links import LineSettings, open_link
from benchday.domain.errors import Garbled, LinkError, LinkGone, LinkSilent, OutcomeUnknown, Refused, TransferCut
from benchday.domain.permits import SpentAct, Verb, restart_covered, use_act
from benchday.domain.readings import Identity, Mode, Progress, Settings
from benchday.domain.seams import Link

LONGEST_LINE = 512
PIECE = 1024
NAMES = ("height_unit", "beeper")


@dataclass(frozen=True, slots=True)
class Limits:
    """Real seconds."""

    answer_s: float = 5.0
    image_s: float = 60.0
    """For the word on an image, once it was sent."""
    restart_s: float = 120.0
    poll_s: float = 0.5


class Teasel:
    """Speaks with one Teasel."""

    def __init__(self, link: Link, open_again: Callable[[], Awaitable[Link]], limits: Limits) -> None:
        self._link, self._open_again, self._limits = link, open_again, limits
        self._numbers = itertools.count(1)
        self._buffer = b""

    async def aclose(self) -> None:
        await self._link.aclose()

    async def identify(self) -> Identity:
        words = await self._ask("teasel", "who")
        try:
            serial, revision, mode, release = words
            return Identity(serial, "Teasel", revision, Mode(mode), release if mode == "run" else None)
        except ValueError:
            raise Garbled(f"the unit's answer to who cannot be read: {' '.join(words)[:80]}") from None

    async def settings(self) -> Settings:
        return Settings({name: " ".join(await self._ask("value", "get", name)) for name in NAMES})

    async def put_settings(self, act: SpentAct, settings: Settings) -> None:
        use_act(act, Verb.PUT_SETTINGS, settings.digest)
        for name, value in settings.values.items():
            number = await self._say("put", name, value)
            await self._answer(number, "done", self._limits.answer_s)

    def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        use_act(act, Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest())
        return self._write(image)

    async def _write(self, image: bytes) -> AsyncIterator[Progress]:
        number = await self._say("image", str(len(image)))
        try:
            await self._answer(number, "go", self._limits.answer_s)
        except (LinkError, Garbled) as error:
            raise TransferCut("the unit did not say that it is ready; it may have begun", 0) from error
        sent = 0
        try:
            while sent < len(image):
                with anyio.fail_after(self._limits.answer_s):
                    await self._link.send(image[sent : sent + PIECE])
                sent = min(sent + PIECE, len(image))
                yield Progress(sent, len(image), "sending")
        except (LinkGone, TimeoutError) as error:
            raise TransferCut("the image was cut; the unit may be half written", sent) from error
        try:
            taken = await self._answer(number, "taken", self._limits.image_s)
        except (LinkError, Garbled) as error:
            raise OutcomeUnknown("the unit did not say whether it took the image; read it back") from error
        if taken != (hashlib.sha256(image).hexdigest(),):
            raise TransferCut("the unit took other bytes than were sent; send it again", sent)

    async def restart(self, act: SpentAct) -> None:
        serial = restart_covered(act).unit
        number = await self._say("restart")
        await self._answer(number, "done", self._limits.answer_s)
        missing: Exception | None = None
        with anyio.move_on_after(self._limits.restart_s):
            while True:
                await anyio.sleep(self._limits.poll_s)
                try:
                    answers = await self.identify()
                    break
                except (LinkError, Garbled) as error:
                    missing = error
                if isinstance(missing, LinkGone):
                    await self._find_again()
            if answers.serial != serial:
                raise LinkGone(f"where unit {serial} was, unit {answers.serial} answers now: was it swapped?")
            return
        raise LinkSilent(f"unit {serial} did not come back: {missing}")

    async def _find_again(self) -> None:
        try:
            fresh = await self._open_again()
        except LinkError:
            return
        await self._link.aclose()
        self._link, self._buffer = fresh, b""

    async def _ask(self, answer: str, *words: str) -> tuple[str, ...]:
        """Ask for a reading; once more after silence or damage."""
        try:
            return await self._answer(await self._say(*words), answer, self._limits.answer_s)
        except (LinkSilent, Garbled):
            return await self._answer(await self._say(*words), answer, self._limits.answer_s)

    async def _say(self, *words: str) -> str:
        number = str(next(self._numbers))
        text = " ".join((number, *words)).encode()
        with anyio.move_on_after(self._limits.answer_s) as sending:
            await self._link.send(b"\n" + text + b" %08x\n" % zlib.crc32(text))
        if sending.cancelled_caught:
            raise LinkSilent("the line takes nothing")
        return number

    async def _answer(self, number: str, name: str, limit_s: float) -> tuple[str, ...]:
        """Wait for the answer of this name; what else comes, the line's echo of the request too, is passed over."""
        damaged = b""
        with anyio.move_on_after(limit_s):
            while True:
                line = await self._line()
                body, _, crc = line.rpartition(b" ")
                if crc != b"%08x" % zlib.crc32(body):
                    damaged = line or damaged
                    continue
                asked, *words = body.decode("ascii", "replace").split(" ")
                if asked == number and words[:1] == ["no"]:
                    raise Refused("the request", " ".join(words[1:]))
                if asked == number and words[:1] == [name]:
                    return tuple(words[1:])
        if damaged:
            raise Garbled(f"what came cannot be read: {damaged[:60]!r}; is the cable seated, its rate right?")
        raise LinkSilent(f"no answer in {limit_s:g} s: is the cable seated? is the unit on?")

    async def _line(self) -> bytes:
        while b"\n" not in self._buffer:
            # What grows without an end of line is none, and not kept.
            self._buffer = self._buffer[-LONGEST_LINE:] + await self._link.receive()
        line, _, self._buffer = self._buffer.partition(b"\n")
        await anyio.lowlevel.checkpoint()
        return line[-LONGEST_LINE:]


@takes(LineSettings, Limits)
async def make(place: Place) -> Teasel:
    """Open the line to a Teasel."""
    refuse_unknown(place.settings, (LineSettings, Limits))
    line = taken_from(LineSettings, place.settings)

    async def open_again() -> Link:
        return await open_link(place.where, line)

    return Teasel(await open_again(), place.reopen or open_again, taken_from(Limits, place.settings))
