"""Exchanges of a declared dialogue, carried out: said, heard, refused, tried again."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from benchday.devices.drivers.dialogue_line import DialogueLine
from benchday.devices.drivers.transfer_limits import TransferLimits
from benchday.domain.clean import clean
from benchday.domain.dialogue import Dialogue
from benchday.domain.dialogue_parts import Exchange, Listing
from benchday.domain.errors import Garbled, InputError, LinkSilent, Refused
from benchday.domain.patterns import Pattern, pattern_of

Fields = dict[str, str]
_LARGEST = 10**12
"""More of anything is a damaged figure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DialogueLimits(TransferLimits):
    """Real seconds of what no playbook declares."""

    list_s: float = 600.0
    """For the whole of an answer of several lines."""
    flash_s: float = 4 * 3600.0
    """A unit that reports a flash for longer than this has lost its way."""
    appears_s: float = 5.0
    """For the port of a unit just switched on."""
    poll_s: float = 0.5
    """Between two tries to reach a unit that restarts."""


@lru_cache(maxsize=512)
def read_pattern(text: str) -> Pattern:
    """Read a pattern of a playbook that was checked."""
    return pattern_of(text)


@dataclass(frozen=True, slots=True)
class Heard:
    """A line that was waited for."""

    pattern: str
    fields: Fields


class Talk:
    """One conversation as a dialogue declares it."""

    def __init__(self, line: DialogueLine, dialogue: Dialogue, unit: str, limits: DialogueLimits | None = None) -> None:
        self.line = line
        self.limits = limits or DialogueLimits()
        self.dialogue = dialogue
        self._unit = unit
        self._said = "it"

    async def wake(self) -> None:
        """Say what wakes the unit until it answers.

        Raises:
            LinkSilent, Garbled, LinkGone
        """
        wake = self.dialogue.wake
        if wake is None:
            return
        for left in reversed(range(wake.tries)):
            await self.line.say(wake.say)
            try:
                await self.line.next(_one_of(wake.hear), float(wake.every_seconds), _or(wake.hear))
            except (LinkSilent, Garbled):
                if not left:
                    raise
            else:
                return

    async def ask(self, exchange: Exchange, values: Mapping[str, str] | None = None, *, once: bool = False) -> Fields:
        """Carry out one exchange and return the fields it told; again, if nothing came that can be read.

        Args:
            exchange: as declared.
            values: what is put into what is said.
            once: whatever it says.

        Raises:
            Refused, Garbled, LinkSilent, LinkGone
            InputError: a value cannot be said.
        """
        for left in reversed(range(1 if once else exchange.tries)):
            try:
                await self._say(exchange.say, values or {})
                return (await self.hear(exchange.hear, float(exchange.seconds), exchange.refused)).fields
            except (LinkSilent, Garbled):
                if not left:
                    raise
            except Refused:
                if exchange.optional:
                    return {}
                raise
        raise AssertionError("unreachable")  # pragma: no cover

    async def ask_all(
        self, exchanges: Sequence[Exchange], values: Mapping[str, str] | None = None, *, once: bool = False
    ) -> Fields:
        """Carry out exchanges in order and put their fields together."""
        told: Fields = {}
        for exchange in exchanges:
            told |= await self.ask(exchange, values, once=once)
        return told

    async def _say(self, pattern: str | None, values: Mapping[str, str]) -> None:
        if pattern is None:
            return
        known = {"serial": self._unit, **values}
        try:
            said = read_pattern(pattern).say(known)
        except ValueError as error:
            raise InputError(f"{error}; nothing was said to the unit") from None
        self._said = said.strip() or "an empty line"
        await self.line.say(said, tuple(known[name] for name in read_pattern(pattern).names))

    async def hear(self, patterns: Sequence[str], limit_s: float, refused: tuple[str, ...] | None = None) -> Heard:
        """Wait for the first line that one of the patterns matches.

        Raises:
            Refused: the unit said no.
            Garbled: it did not get the line whole, or we cannot read what came.
            LinkSilent, LinkGone
        """

        def wanted(line: str) -> Heard | Refused | Garbled | None:
            return _one_of(patterns)(line) or self._no(line, refused)

        heard: Heard | Refused | Garbled = await self.line.next(wanted, limit_s, _or(patterns))
        if isinstance(heard, (Refused, Garbled)):
            raise heard
        return heard

    def _no(self, line: str, refused: tuple[str, ...] | None) -> Refused | Garbled | None:
        if any(read_pattern(pattern).match(line) is not None for pattern in self.dialogue.misheard):
            return Garbled(f"the unit did not get {clean(self._said)} whole: is the cable seated?")
        for refusal in self.dialogue.refusals if refused is None else ():
            found = read_pattern(refusal.hear).match(line)
            if found is not None:
                code = found.get("code", "")
                words = refusal.means.get(code, found.get("words", "").strip())
                return Refused(clean(self._said), code or line, words)
        for pattern in refused or ():
            found = read_pattern(pattern).match(line)
            if found is not None:
                return Refused(clean(self._said), found.get("code", "") or line, found.get("words", "").strip())
        return None

    async def listed(self, listing: Listing) -> list[Fields]:
        """Carry out an exchange of several lines, all of it again if it is not whole.

        Raises:
            Refused, Garbled, LinkSilent, LinkGone
        """
        for left in reversed(range(listing.tries)):
            try:
                return await self._list_once(listing)
            except (LinkSilent, Garbled):
                if not left:
                    raise
        raise AssertionError("unreachable")  # pragma: no cover

    async def _list_once(self, listing: Listing) -> list[Fields]:
        await self._say(listing.say, {})
        got: list[Fields] = []
        count: int | None = None
        until_us = self.line.clock() + round(self.limits.list_s * 1e6)
        limit_s = float(listing.seconds)
        first = [*listing.head] if listing.head else [listing.each]
        ends = [text for text in (listing.until, listing.none) if text is not None]
        heard = await self.hear([*ends, *first], limit_s, listing.refused)
        while heard.pattern not in ends:
            if "count" in heard.fields:
                count = number_of(heard.fields["count"], "count")
            if heard.pattern == listing.each:
                got.append(heard.fields)
                _in_order(got)
            if len(got) > listing.most:
                raise Garbled(f"more than {listing.most} lines came; at most so many were expected")
            if count is not None and len(got) >= count and listing.until is None:
                break
            left_s = max((until_us - self.line.clock()) / 1e6, 0)
            heard = await self.hear([*ends, listing.each], min(limit_s, left_s), listing.refused)
        if heard.pattern == listing.until and heard.pattern is not None:
            count = number_of(heard.fields["count"], "count") if "count" in heard.fields else count
        if count is not None and count != len(got):
            raise Garbled(f"{len(got)} lines came of {count}: an answer was lost on the line")
        return got


def _in_order(got: list[Fields]) -> None:
    number = got[-1].get("number")
    if number is not None and number_of(number, "number") != len(got):
        raise Garbled(f"expected line {len(got)}, got {number}: an answer was lost on the line")


def number_of(text: str, name: str) -> int:
    """Read a whole number that a unit told.

    Raises:
        Garbled: it is none, or beyond everything.
    """
    if not (text.isascii() and text.isdigit()) or int(text) > _LARGEST:
        raise Garbled(f"expected a whole number for {name}, got {text[:40]!r}")

    return int(text)


def _one_of(patterns: Sequence[str]) -> Callable[[str], Heard | None]:
    def wanted(line: str) -> Heard | None:
        for text in patterns:
            fields = read_pattern(text).match(line)
            if fields is not None:
                return Heard(text, fields)
        return None

    return wanted


def _or(patterns: Sequence[str]) -> str:
    return " or ".join(_in_words(text) for text in patterns)


def _in_words(text: str) -> str:
    """Word a pattern for people: what its line begins with, and what it tells."""
    names, begins = read_pattern(text).names, text.partition("{")[0].strip()
    if not names:
        return repr(text)
    in_order = [part.name for part in read_pattern(text).parts if part.name in names]
    *most, last = [name.replace("_", " ") for name in in_order]
    told = f"{', '.join(most)} and {last}" if most else last
    return f"a line that {f'begins with {begins} and ' if begins else ''}tells {told}"
