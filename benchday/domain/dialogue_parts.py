"""The parts of a declared dialogue: the line, one exchange, an answer of several lines, a transfer."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from difflib import get_close_matches
from enum import StrEnum
from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from benchday.domain.patterns import LONGEST_PATTERN, pattern_of
from benchday.domain.words import Expected, FileModel, Seconds


def _pattern(text: str) -> str:
    pattern_of(text)
    return text


PatternText = Annotated[str, AfterValidator(_pattern), Field(max_length=LONGEST_PATTERN, examples=["ID {serial}"])]
"""Literal text with placeholders, see ``patterns``."""

Patterns = Annotated[tuple[PatternText, ...], Field(min_length=1, max_length=12)]


class Ends(StrEnum):
    """What ends a line that is said; whatever of CR and LF comes back ends one that is heard."""

    CR = "CR"
    LF = "LF"
    CR_LF = "CR LF"


class Framing(StrEnum):
    """How a line is protected."""

    PLAIN = "plain"
    NMEA = "nmea"
    """``$``, the text, ``*`` and the exclusive or of the text in two hexadecimal digits, as in NMEA 0183."""


class Parity(StrEnum):
    """Parity of a character."""

    NONE = "none"
    EVEN = "even"
    ODD = "odd"


class Line(FileModel):
    """How the line is set, and how a line of text stands on it."""

    baud: Annotated[int, Field(ge=50, le=4_000_000)]
    data_bits: Annotated[int, Field(ge=7, le=8)] = 8
    parity: Parity = Parity.NONE
    stop_bits: Annotated[int, Field(ge=1, le=2)] = 1
    dtr: bool = True
    """Data terminal ready as it stands from the opening on."""
    rts: bool = True
    """Request to send, likewise."""
    settle_ms: Annotated[int, Field(ge=0, le=10_000)] = 0
    """What the unit needs after the port was opened."""
    ends: Ends = Ends.CR_LF
    """What ends a line that we say."""
    framing: Framing = Framing.PLAIN
    prompt: Annotated[str, Field(min_length=1, max_length=8, pattern=r"^[\x21-\x7e]+$")] | None = None
    """What the unit shows, without ending the line, when it is ready for the next request."""
    echo: bool = False
    """The unit sends back what is said."""


class Wake(FileModel):
    """How a unit that may be asleep is woken before anything is asked."""

    say: Annotated[str, Field(max_length=40, pattern=r"^[\x20-\x7e]*$")] = ""
    """Left out: an empty line."""
    hear: Patterns
    every_seconds: Annotated[Seconds, Field(le=60)]
    """So long each try waits."""
    tries: Annotated[int, Field(ge=1, le=20)]


class Exchange(FileModel):
    """One thing said and what is heard of it. Lines that are none of these are skipped, up to a bound."""

    say: PatternText | None = None
    """Left out: only listened for."""
    hear: Patterns
    """The first of these that a line matches."""
    seconds: Seconds = Decimal(6)
    """For the whole answer."""
    tries: Annotated[int, Field(ge=1, le=5)] = 2
    """How often it is asked, if nothing that can be read comes; what changes the unit is said once."""
    optional: bool = False
    """The unit may refuse it; what it would have told is then not known."""
    refused: Annotated[tuple[PatternText, ...], Field(max_length=12)] | None = None
    """Refusals of this exchange alone, in place of the dialogue's."""

    @property
    def heard(self) -> frozenset[str]:
        """The fields it tells."""
        return frozenset[str]().union(*(pattern_of(text).names for text in self.hear))

    @property
    def said(self) -> frozenset[str]:
        """What is put into what is said."""
        return pattern_of(self.say).names if self.say is not None else frozenset()


class Listing(FileModel):
    """An answer of several lines: ``each`` again and again, until ``until`` comes or ``{count}`` of them have."""

    say: PatternText | None = None
    head: Annotated[tuple[PatternText, ...], Field(max_length=12)] = ()
    """A line before the others; it may hold ``{count}``."""
    each: PatternText
    until: PatternText | None = None
    """The line after the last."""
    none: PatternText | None = None
    """The whole answer, where there is nothing to list."""
    most: Annotated[int, Field(ge=1, le=5000)] = 500
    """More lines are refused."""
    seconds: Seconds = Decimal(6)
    """Between one line and the next."""
    tries: Annotated[int, Field(ge=1, le=5)] = 2
    refused: Annotated[tuple[PatternText, ...], Field(max_length=12)] | None = None

    @property
    def heard(self) -> frozenset[str]:
        """The fields it tells."""
        return frozenset[str]().union(*(pattern_of(text).names for text in (*self.head, self.each)))

    @model_validator(mode="after")
    def _ends(self) -> Self:
        if self.until is None and "count" not in self.heard:
            raise Expected("until, or {count} in head or each: an answer must have an end", found="neither")
        return self


class By(StrEnum):
    """How bytes are carried."""

    XMODEM_CRC = "xmodem-crc"
    XMODEM_1K = "xmodem-1k"
    YMODEM = "ymodem"


def unknown_fields(told: frozenset[str], known: frozenset[str], at: tuple[str | int, ...]) -> None:
    """Refuse a field that a capability does not know."""
    for name in sorted(told - known):
        near = get_close_matches(name, known, 1)
        raise Expected(
            "one of the fields " + (", ".join(sorted(known)) or "(none)"),
            found=f"{{{name}}}",
            at=at,
            nearest=near[0] if near else None,
        )


def check_said(exchanges: tuple[Exchange | Listing, ...], allowed: frozenset[str], at: tuple[str | int, ...]) -> None:
    """Refuse a placeholder in what is said that is not defined there."""
    for number, exchange in enumerate(exchanges):
        if exchange.say is not None:
            unknown_fields(pattern_of(exchange.say).names, allowed, (*at, number, "say"))


def fields_of(exchanges: tuple[Exchange, ...]) -> Iterator[tuple[int, int, frozenset[str]]]:
    """Yield number of the exchange, number of the pattern, and its fields."""
    for number, exchange in enumerate(exchanges):
        for place, text in enumerate(exchange.hear):
            yield number, place, pattern_of(text).names
