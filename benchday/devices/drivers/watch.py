"""The driver for a receiver that streams NMEA 0183: it listens, and never sends a byte."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import anyio

from benchday.devices import nmea
from benchday.devices.nmea_sky import Stream
from benchday.devices.transfer import Monotonic, monotonic_us
from benchday.domain.errors import Garbled, InputError, LinkSilent
from benchday.domain.readings import Identity, Sky
from benchday.domain.seams import Link
from benchday.domain.watch import Watch


@dataclass(frozen=True, slots=True)
class WatchLimits:
    """Real seconds."""

    listen_s: float = 6.0
    """At most, for one look; receivers stream once a second or oftener."""
    text_s: float = 15.0
    """At most, for the text sentences that say who it is: many send them rarely."""
    appears_s: float = 5.0
    """For the port of a unit just switched on."""
    poll_s: float = 0.5
    """Between two tries to open it."""

    def __post_init__(self) -> None:
        if min(self.listen_s, self.text_s, self.poll_s) <= 0:
            raise InputError("limits of the driver watch are seconds above 0")


class WatchDriver:
    """Hears what the receiver sees of the sky. Everything else a person does."""

    def __init__(self, link: Link, limits: WatchLimits, *, clock: Monotonic = monotonic_us) -> None:
        self._link, self._limits, self._clock = link, limits, clock
        self._buffer = bytearray()

    async def aclose(self) -> None:
        """Close the line."""
        await self._link.aclose()

    async def sky(self) -> Sky:
        """Listen until a whole set of sentences has come, or for a while.

        Raises:
            LinkSilent: nothing that can be read came.
            Garbled: nothing but damaged sentences came, or no GGA.
            LinkGone
        """
        stream = await self._listen(lambda s: s.complete, self._limits.listen_s)
        sky = stream.sky()
        if sky is None:
            raise Garbled(
                f"the receiver streams {', '.join(sorted(stream.latest)) or 'text'}, but no GGA: switch it on"
            )
        return sky

    async def _listen(self, enough: Callable[[Stream], bool], limit_s: float) -> Stream:
        """Take in what comes from now on, until it is enough.

        Raises:
            LinkSilent, Garbled, LinkGone
        """
        await self._link.discard_input()
        self._buffer.clear()
        stream, damaged, until_us = Stream(), b"", self._clock() + round(limit_s * 1e6)
        while not enough(stream) and (left_s := (until_us - self._clock()) / 1e6) > 0:
            with anyio.move_on_after(left_s):
                self._buffer += await self._link.receive()
            scanned = nmea.scan(self._buffer)
            del self._buffer[: scanned.used]
            damaged = scanned.damaged[-1] if scanned.damaged else damaged
            for sentence in scanned.sentences:
                stream.take(sentence)
        if not stream.latest and not stream.texts:
            raise self._nothing(damaged, limit_s)
        return stream

    @staticmethod
    def _nothing(damaged: bytes, limit_s: float) -> LinkSilent | Garbled:
        if damaged:
            return Garbled(f"what came cannot be read: {damaged[:80]!r}; is the line's rate right?")
        return LinkSilent(f"no sentence in {limit_s:g} s: is the cable seated? is the receiver on, and does it stream?")


class TellingWatchDriver(WatchDriver):
    """One whose receiver says in text sentences who it is, as its playbook declares."""

    def __init__(
        self, link: Link, limits: WatchLimits, watch: Watch, model: str, *, clock: Monotonic = monotonic_us
    ) -> None:
        super().__init__(link, limits, clock=clock)
        self._watch, self._model = watch, model

    async def identify(self) -> Identity:
        """Listen for the text sentences.

        Raises:
            Garbled: they do not say it.
            LinkSilent, LinkGone
        """
        stream = await self._listen(lambda s: s.identity(self._watch, self._model) is not None, self._limits.text_s)
        found = stream.identity(self._watch, self._model)
        if found is None:
            raise Garbled(
                f"no text sentence with {self._watch.serial} and {self._watch.release} came: switch it on anew"
            )
        return found
