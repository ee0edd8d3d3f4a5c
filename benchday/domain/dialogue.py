"""A serial dialogue as a playbook declares it: for each capability what is said and what is heard. Data only."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from benchday.domain import dialogue_fields as known
from benchday.domain.dialogue_parts import (
    By,
    Exchange,
    Line,
    Listing,
    Patterns,
    PatternText,
    Wake,
    check_said,
    fields_of,
    unknown_fields,
)
from benchday.domain.patterns import pattern_of
from benchday.domain.words import Expected, FileModel, Name, Seconds

SERIAL = frozenset({"serial"})
"""May be said anywhere: the serial as checked in."""

Exchanges = Annotated[tuple[Exchange, ...], Field(min_length=1, max_length=12)]
FileName = Annotated[str, Field(max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$")]


class Reading(FileModel):
    """A reading: one exchange or several, whose fields are put together."""

    KNOWN: ClassVar[frozenset[str]] = frozenset()
    NEEDED: ClassVar[tuple[frozenset[str], ...]] = ()
    """One of each must be told."""
    SAID: ClassVar[frozenset[str]] = SERIAL

    ask: Exchanges
    words: dict[str, dict[str, str]] = Field(default_factory=dict)
    """For a field: the unit's word -> ours."""

    @property
    def given(self) -> frozenset[str]:
        """The fields that the playbook itself gives."""
        return frozenset()

    @model_validator(mode="after")
    def _fields(self) -> Self:
        check_said(self.ask, self.SAID, ("ask",))
        told: set[str] = set(self.given)
        for number, place, names in fields_of(self.ask):
            unknown_fields(names, self.KNOWN, ("ask", number, "hear", place))
            told |= names if not self.ask[number].optional else set()
        for choice in self.NEEDED:
            if not choice & told:
                raise Expected("a field " + " or ".join(f"{{{n}}}" for n in sorted(choice)), found="none", at=("ask",))
        self._words()
        return self

    def _words(self) -> None:
        for name, table in self.words.items():
            if name not in self.KNOWN:
                raise Expected("one of the fields " + ", ".join(sorted(self.KNOWN)), found=name, at=("words", name))
            for word, ours in table.items():
                choices = known.CHOICES.get(name)
                if choices is not None and ours not in choices:
                    raise Expected("one of " + ", ".join(sorted(choices)), found=ours, at=("words", name, word))


class Identify(Reading):
    """Who the unit is."""

    KNOWN: ClassVar[frozenset[str]] = known.IDENTITY
    NEEDED: ClassVar[tuple[frozenset[str], ...]] = tuple(frozenset({n}) for n in ("serial", "model", "mode"))

    model: Name | None = None
    """The model, where the unit does not tell it and the playbook covers one alone."""
    hardware: Name | None = None
    mode: Annotated[str, Field(pattern=r"^run$")] | None = None
    """run, where the unit does not tell it."""
    separator: Annotated[str, Field(min_length=1, max_length=1)] = ";"
    """Between options."""

    @property
    def given(self) -> frozenset[str]:
        return frozenset(n for n in ("model", "hardware", "mode") if getattr(self, n) is not None)


class Power(Reading):
    """How the battery stands."""

    KNOWN: ClassVar[frozenset[str]] = known.POWER
    NEEDED: ClassVar[tuple[frozenset[str], ...]] = (
        frozenset(n for n, unit in known.POWER_UNITS.items() if unit.kept == "charge_percent"),
        frozenset({"external"}),
    )


class SelfTestAsked(Reading):
    """The unit's own test."""

    KNOWN: ClassVar[frozenset[str]] = known.SELF_TEST
    NEEDED: ClassVar[tuple[frozenset[str], ...]] = (frozenset({"result"}),)

    moves: bool
    """Whether anything turns, transmits or changes while it runs; such a test is left out of a trial."""


class Position(Reading):
    """What a receiver sees."""

    KNOWN: ClassVar[frozenset[str]] = known.POSITION
    NEEDED: ClassVar[tuple[frozenset[str], ...]] = (frozenset({"fix"}),)


class Prove(Reading):
    """Whether the unit is one of the day's simulators."""

    KNOWN: ClassVar[frozenset[str]] = known.PROVE
    SAID: ClassVar[frozenset[str]] = SERIAL | {"nonce"}


class Recordings(FileModel):
    """Which recordings are on the unit."""

    list: Listing
    sum: Exchange | None = None
    """For each: the digest that the unit reports, where the list does not tell it."""

    @model_validator(mode="after")
    def _fields(self) -> Self:
        _listed(self.list, known.RECORDINGS, frozenset({"name", "bytes"}))
        if self.sum is not None:
            check_said((self.sum,), SERIAL | {"name"}, ("sum",))
            unknown_fields(self.sum.heard, known.SUM, ("sum", "hear"))
        return self


class SettingsListed(FileModel):
    """How the unit is set."""

    list: Listing

    @model_validator(mode="after")
    def _fields(self) -> Self:
        _listed(self.list, known.SETTINGS, frozenset({"name", "value"}))
        return self


def _listed(listing: Listing, fields: frozenset[str], needed: frozenset[str]) -> None:
    if listing.say is not None:
        unknown_fields(pattern_of(listing.say).names, SERIAL, ("list", "say"))
    unknown_fields(listing.heard, fields, ("list", "each"))
    missing = needed - pattern_of(listing.each).names
    if missing:
        raise Expected(f"the field {{{min(missing)}}}", found=listing.each, at=("list", "each"))


class Fetch(FileModel):
    """A recording is fetched: exchanges, then the unit sends it."""

    ask: Exchanges
    by: By
    """How it comes; the length is the list's, or ``{bytes}`` of the answer."""

    @model_validator(mode="after")
    def _fields(self) -> Self:
        check_said(self.ask, SERIAL | {"name", "bytes"}, ("ask",))
        for number, place, names in fields_of(self.ask):
            unknown_fields(names, frozenset({"bytes"}), ("ask", number, "hear", place))
        return self


class Told(FileModel):
    """Something that changes the unit: said once, never repeated."""

    SAID: ClassVar[frozenset[str]] = SERIAL

    ask: Exchanges

    @model_validator(mode="after")
    def _fields(self) -> Self:
        check_said(self.ask, self.SAID, ("ask",))
        for number, place, names in fields_of(self.ask):
            unknown_fields(names, frozenset(), ("ask", number, "hear", place))
        return self


class PutSettings(Told):
    """One setting is put; asked for each."""

    SAID: ClassVar[frozenset[str]] = SERIAL | {"name", "value"}


class Flash(FileModel):
    """What the unit says while it erases and programs."""

    each: PatternText
    """A report; it may hold ``{percent}``."""
    until: Patterns
    """The word that it is done."""
    seconds: Seconds = Decimal(300)
    """Between one report and the next; the whole may take much longer."""

    @model_validator(mode="after")
    def _fields(self) -> Self:
        unknown_fields(pattern_of(self.each).names, frozenset({"percent"}), ("each",))
        return self


class Write(Told):
    """An image is written: exchanges, the transfer, the unit's word on the image, and its flash."""

    SAID: ClassVar[frozenset[str]] = SERIAL | {"bytes", "release", "name"}

    by: By
    name: FileName = "IMAGE.BIN"
    """What the image is called on its way, by YMODEM and where ``{name}`` is said."""
    whole: Exchange
    """Heard once the image is in: without it a write has not ended well."""
    flash: Flash | None = None

    @model_validator(mode="after")
    def _only_listened(self) -> Self:
        if self.whole.say is not None:
            raise Expected("no say: the unit speaks of itself here", found=self.whole.say, at=("whole", "say"))
        unknown_fields(self.whole.heard, frozenset(), ("whole", "hear"))
        return self


class Restart(Told):
    """The unit starts anew, and is asked who it is until it answers."""

    greeting: Exchange | None = None
    """What it says unasked when it is back."""
    seconds: Seconds = Decimal(300)
    """Until it answers again."""


class Refusal(FileModel):
    """How the unit says no."""

    hear: PatternText
    """It may hold ``{code}`` and ``{words}``."""
    means: dict[str, Name] = Field(default_factory=dict)
    """Code -> what it means, for the person at the bench."""

    @model_validator(mode="after")
    def _fields(self) -> Self:
        unknown_fields(pattern_of(self.hear).names, known.REFUSAL, ("hear",))
        return self


class Dialogue(FileModel):
    """A whole dialogue. A capability that is left out is filled by hand."""

    line: Line
    wake: Wake | None = None
    refusals: Annotated[tuple[Refusal, ...], Field(max_length=20)] = ()
    misheard: Annotated[tuple[PatternText, ...], Field(max_length=12)] = ()
    """What the unit says to a line that it did not get whole."""
    identify: Identify
    power: Power | None = None
    recordings: Recordings | None = None
    fetch: Fetch | None = None
    settings: SettingsListed | None = None
    put_settings: PutSettings | None = None
    write: Write | None = None
    restart: Restart | None = None
    self_test: SelfTestAsked | None = None
    position: Position | None = None
    prove: Prove | None = None

    @property
    def carries_large_blocks(self) -> bool:
        """Tell whether an image goes out in blocks of 1024 bytes."""
        return self.write is not None and self.write.by is not By.XMODEM_CRC

    @model_validator(mode="after")
    def _bytes_need_eight_bits(self) -> Self:
        carried = [name for name in ("fetch", "write") if getattr(self, name) is not None]
        if carried and self.line.data_bits != 8:
            raise Expected(f"8 data bits, because {carried[0]} carries bytes", found="7", at=("line", "data_bits"))
        return self
