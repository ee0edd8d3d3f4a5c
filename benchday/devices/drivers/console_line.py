"""Questions and answers over the serial dialogue, each under a time limit of real seconds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from benchday.devices import nmea
from benchday.devices.drivers.transfer_limits import TransferLimits
from benchday.devices.late import heard_until
from benchday.devices.transfer import Monotonic
from benchday.domain.errors import Garbled, LinkSilent, Refused
from benchday.domain.seams import Link

PREFIX = "PQFN"

Fields = tuple[str, ...]


LONGEST_LIST = 10_000
"""So many recordings or settings can be told in one answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConsoleLimits(TransferLimits):
    """Real seconds; none shrinks with a simulated day's speed."""

    answer_s: float = 6.0
    """For the answer to a request."""
    test_s: float = 180.0
    """For the self-test."""
    flash_s: float = 300.0
    """Between two steps forward while the unit flashes; the whole may take much longer."""
    image_s: float = 30.0
    """Between the end of a transfer and the unit's word on the image."""
    restart_s: float = 300.0
    """For a restart, until the unit answers again."""
    hello_s: float = 20.0
    """How long to wait for the greeting before the unit is asked who it is."""
    appears_s: float = 5.0
    """For the port of a unit just switched on: a USB port shows up, and may be opened, some seconds later than the unit
    does (common practice, no source)."""
    poll_s: float = 0.5
    """Between two tries to reach a unit whose port went away, or is not there yet."""
    sky_s: float = 2.5
    """For a streamed position; units send one a second."""


class ConsoleLine:
    """One conversation over one open link; one question at a time."""

    def __init__(self, link: Link, clock: Monotonic) -> None:
        self.link = link
        self._clock = clock
        self._buffer = bytearray()
        self._damaged: bytes | None = None

    async def say(self, *words: str) -> None:
        """Send one request, throwing away what came before it: late answers, and positions streamed meanwhile."""
        await self.link.discard_input()
        self.forget()
        await self.link.send(nmea.encode(PREFIX, *words))

    def forget(self) -> None:
        """Forget what has come and was not asked for."""
        self._buffer.clear()
        self._damaged = None

    def give_back(self, data: bytes) -> None:
        """Take bytes that somebody else read off the link."""
        self._buffer += data

    def hand_over(self) -> bytes:
        """Give away what has come after the last sentence that was asked for."""
        data = bytes(self._buffer)
        self._buffer.clear()
        return data

    async def next(self, wanted: Callable[[nmea.Sentence], bool], limit_s: float) -> nmea.Sentence:
        """Return the next sentence that is wanted; others are skipped.

        Raises:
            LinkSilent: nothing like it came in time.
            Garbled: something came that is no sentence, and nothing else in time.
        """
        until_us = self._clock() + round(limit_s * 1e6)
        while True:
            for sentence in self._sentences():
                if wanted(sentence):
                    return sentence
            data = await heard_until(self.link, until_us, self._clock)
            if not data:
                raise self._nothing(limit_s)
            self._buffer += data

    def _sentences(self) -> Iterator[nmea.Sentence]:
        """Take line after line off the buffer; whoever stops leaves the rest as it came."""
        while True:
            whole = self._buffer.find(b"\n") + 1
            scanned = nmea.scan(self._buffer[: whole or None])
            del self._buffer[: scanned.used]
            if scanned.damaged:
                self._damaged = scanned.damaged[-1]
            yield from scanned.sentences
            if not whole:
                return

    async def answer(self, name: str, request: str, limit_s: float) -> Fields:
        """Wait for the unit's answer of this name and return what follows the name.

        Raises:
            Refused: the unit said no.
            Garbled: the unit did not understand the line, or we do not.
            LinkSilent: no answer in time.
        """
        sentence = await self.next(lambda s: _is_answer(s, name) or _is_no(s, request), limit_s)
        if _is_answer(sentence, name):
            return sentence.fields[2:]

        asked, code = (*sentence.fields[2:], "")[:2]
        if asked == "LINE":
            raise Garbled(f"the unit did not get {request} whole ({code}): is the cable seated?")
        raise Refused(request, code, ",".join(sentence.fields[4:]))

    async def answer_ok(self, request: str, limit_s: float) -> Fields:
        """Wait for ``OK,<request>`` and return what follows.

        Raises:
            Refused, Garbled, LinkSilent, LinkGone
        """
        name, *rest = await self.answer("OK", request, limit_s) or ("",)
        if name != request:
            raise Garbled(f"expected OK,{request} from the unit, got OK,{name}")

        return tuple(rest)

    async def ask(self, *words: str, name: str | None = None, limit_s: float) -> Fields:
        """Ask for a reading; asked once more if the answer is missing or damaged.

        Raises:
            Refused, Garbled, LinkSilent, LinkGone
        """
        try:
            return await self._ask_once(words, name or words[0], limit_s)
        except (LinkSilent, Garbled):
            return await self._ask_once(words, name or words[0], limit_s)

    async def _ask_once(self, words: Fields, name: str, limit_s: float) -> Fields:
        await self.say("ASK", *words)
        return await self.answer(name, words[0], limit_s)

    async def ask_list(self, word: str, name: str, limit_s: float) -> tuple[Fields, ...]:
        """Ask for a reading of several sentences, numbered ``n of all``; asked once more as in ``ask``."""
        try:
            return await self._ask_list_once(word, name, limit_s)
        except (LinkSilent, Garbled):
            return await self._ask_list_once(word, name, limit_s)

    async def _ask_list_once(self, word: str, name: str, limit_s: float) -> tuple[Fields, ...]:
        await self.say("ASK", word)
        got: list[Fields] = []
        while True:
            number, of, *facts = await self.answer(name, word, limit_s)
            if (number, of) == ("0", "0"):
                return ()
            if not (number.isdigit() and of.isdigit()) or int(number) != len(got) + 1:
                raise Garbled(f"expected {name} {len(got) + 1}, got {number} of {of}: an answer was lost on the line")
            if int(of) > LONGEST_LIST:
                raise Garbled(f"the unit announces {of} answers to {word}; more than {LONGEST_LIST} cannot be right")
            got.append(tuple(facts))
            if number == of:
                return tuple(got)

    def _nothing(self, limit_s: float) -> LinkSilent | Garbled:
        if self._damaged is not None:
            return Garbled(f"what came cannot be read: {self._damaged[:80]!r}; is the cable seated, its rate right?")

        return LinkSilent(f"no answer in {limit_s:g} s: is the cable of the right type? seated? is the unit on?")


def _is_answer(sentence: nmea.Sentence, name: str) -> bool:
    return sentence.fields[:2] == (PREFIX, name)


def _is_no(sentence: nmea.Sentence, request: str) -> bool:
    # A refusal of something else is left over: a transfer that was cut ends with NO,IMAGE,cut whoever asks next.
    return _is_answer(sentence, "NO") and sentence.fields[2:3] in ((request,), ("LINE",))
