"""How a declared page's values are picked out of its answers, and turned into our words and units."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from benchday.domain.json_path import JsonPath
from benchday.domain.words import Expected, FileModel

A_SELECTOR = "a selector of names, #id, .class, [attribute], [attribute=value], :nth-child(n), blanks and > between"
_COMPOUND = re.compile(
    r"""(?:[A-Za-z][A-Za-z0-9-]*|\*)?
        (?: \#[A-Za-z][\w-]* | \.[A-Za-z][\w-]*
          | \[[A-Za-z][\w-]*(?:=(?:[\w-]+|"[^"\\\]\x00-\x1f]*"|'[^'\\\]\x00-\x1f]*'))?\]
          | :(?:nth-child\([1-9][0-9]{0,3}\)|first-child|last-child) )*""",
    re.VERBOSE,
)
_BETWEEN = re.compile(r"\s*>\s*|\s+")


def _selector(text: str) -> str:
    """Return the text if it is a selector of our subset, else raise Expected."""
    at = 0
    while True:
        match = _COMPOUND.match(text, at)
        if match is None or match.end() == at:
            raise Expected(A_SELECTOR, found=f"{text}, which cannot be read from {text[at:]!r} on")
        at = match.end()
        if at == len(text):
            return text
        between = _BETWEEN.match(text, at)
        if between is None:
            raise Expected(A_SELECTOR, found=f"{text}, which cannot be read from {text[at:]!r} on")
        at = between.end()


Selector = Annotated[str, Field(min_length=1, max_length=200, examples=["#state td.serial"]), AfterValidator(_selector)]
"""A CSS selector (Selectors Level 3), a subset."""
_PATH = re.compile(r"/[A-Za-z0-9._~!$&'()*+,;=:@%/-]*(?:\?[A-Za-z0-9._~!$&'()*+,;=:@%/?-]*)?")


def _own_path(text: str) -> str:
    """Return the text if no other address can be read out of it, else raise Expected."""
    path = text.partition("?")[0]
    if not _PATH.fullmatch(text) or "//" in path or {".", ".."} & set(path.split("/")):
        raise Expected("a path on the unit itself, like /status.json, without // and without . or .. as a folder")
    return text


PagePath = Annotated[str, Field(max_length=200, examples=["/status.json"]), AfterValidator(_own_path)]
"""A path on the unit itself (RFC 3986, path-absolute with a query): never another address."""
Literal_ = Annotated[str, Field(min_length=1, max_length=200)]


class Dimension(StrEnum):
    """What a number measures, and in what it is kept: the word behind each."""

    PERCENT = "percent"
    ENERGY = "mWh"
    VOLTAGE = "mV"
    CURRENT = "mA"
    TEMPERATURE = "0.1 K"
    SIZE = "bytes"
    COUNT = "count"


class Unit(StrEnum):
    """In what a page tells a number."""

    PERCENT = "percent"
    FRACTION = "fraction"
    """0 to 1."""
    MWH = "mWh"
    TEN_MWH = "10 mWh"
    """As the Smart Battery Data Specification has it."""
    WH = "Wh"
    MV = "mV"
    V = "V"
    MA = "mA"
    A = "A"
    TENTH_K = "0.1 K"
    K = "K"
    CELSIUS = "Celsius"
    BYTES = "bytes"
    KB = "kB"
    KIB = "KiB"
    MB = "MB"
    MIB = "MiB"


_UNITS: dict[Unit, tuple[Dimension, int, Decimal]] = {
    Unit.PERCENT: (Dimension.PERCENT, 1, Decimal(0)),
    Unit.FRACTION: (Dimension.PERCENT, 100, Decimal(0)),
    Unit.MWH: (Dimension.ENERGY, 1, Decimal(0)),
    Unit.TEN_MWH: (Dimension.ENERGY, 10, Decimal(0)),
    Unit.WH: (Dimension.ENERGY, 1000, Decimal(0)),
    Unit.MV: (Dimension.VOLTAGE, 1, Decimal(0)),
    Unit.V: (Dimension.VOLTAGE, 1000, Decimal(0)),
    Unit.MA: (Dimension.CURRENT, 1, Decimal(0)),
    Unit.A: (Dimension.CURRENT, 1000, Decimal(0)),
    Unit.TENTH_K: (Dimension.TEMPERATURE, 1, Decimal(0)),
    Unit.K: (Dimension.TEMPERATURE, 10, Decimal(0)),
    Unit.CELSIUS: (Dimension.TEMPERATURE, 10, Decimal("2731.5")),  # 0 degrees Celsius = 273.15 K (SI brochure)
    Unit.BYTES: (Dimension.SIZE, 1, Decimal(0)),
    Unit.KB: (Dimension.SIZE, 1000, Decimal(0)),  # IEC 80000-13: decimal and binary prefixes
    Unit.KIB: (Dimension.SIZE, 1024, Decimal(0)),
    Unit.MB: (Dimension.SIZE, 10**6, Decimal(0)),
    Unit.MIB: (Dimension.SIZE, 1 << 20, Decimal(0)),
}
"""Unit -> what it measures, the factor to what we keep, and what is added then."""
_NUMBER = re.compile(r"\s*([+-]?[0-9]{1,15}(?:\.[0-9]{1,9})?)\s*[^0-9]{0,20}", re.DOTALL)


class Pick(FileModel):
    """One value of an answer. What is found first is cut by after and before, then chosen or reckoned."""

    in_json: JsonPath | None = None
    """Where it stands in a JSON answer."""
    in_html: Selector | None = None
    """Which element of an HTML answer holds it: its text, or one of its attributes."""
    attribute: Annotated[str, Field(pattern=r"^[A-Za-z][\w-]{0,40}$")] | None = None
    after: Literal_ | None = None
    """It stands behind the first place where this text is found, literally."""
    before: Literal_ | None = None
    """It ends where this text is found next, literally."""
    fixed: Annotated[str, Field(max_length=200)] | None = None
    """What the page does not tell and all units of this kind share."""
    page: PagePath | None = None
    """Another page to ask for this value."""
    choices: dict[str, str] = Field(default_factory=dict)
    """What the page says -> what it means here; with choices anything else cannot be read."""
    unit: Unit | None = None
    optional: bool = False
    """It may be missing."""

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = [
            name
            for name, told in (
                ("in_json", self.in_json),
                ("in_html", self.in_html),
                ("fixed", self.fixed),
                ("after or before alone", (self.after or self.before) if not (self.in_json or self.in_html) else None),
            )
            if told is not None
        ]
        if len(ways) != 1:
            raise Expected("one of in_json, in_html, fixed, or after and before", found=" and ".join(ways) or "none")
        if self.attribute is not None and self.in_html is None:
            raise Expected("attribute beside in_html alone", found=self.attribute, at=("attribute",))
        if self.choices and self.unit is not None:
            raise Expected("either choices or a unit", found="both", at=("unit",))
        return self

    def cut(self, text: str) -> str | None:
        """Return the part of a text between after and before; None where they are not found."""
        if self.after is not None:
            _, found, text = text.partition(self.after)
            if not found:
                return None
        if self.before is not None:
            text, found, _ = text.partition(self.before)
            if not found:
                return None
        return text

    def meant(self, text: str) -> str | None:
        """Return what a text means here; None where the choices do not have it."""
        return self.choices.get(text) if self.choices else text

    def whole(self, text: str, dimension: Dimension) -> int | None:
        """Return a number in our unit, rounded to the even whole one; None where the text is no number."""
        match = _NUMBER.fullmatch(text)
        if match is None:
            return None
        measured, factor, added = _UNITS[self.unit] if self.unit is not None else (dimension, 1, Decimal(0))
        assert measured is dimension  # noqa: S101 - the playbook was checked
        return int((Decimal(match[1]) * factor + added).to_integral_value(ROUND_HALF_EVEN))


def measures(pick: Pick | None, name: str, dimension: Dimension | None) -> None:
    """Check that a pick's unit measures what the field is about.

    Raises:
        Expected: it does not.
    """
    if pick is None or pick.unit is None:
        return
    fitting = [unit.value for unit, (kind, _, _) in _UNITS.items() if kind is dimension]
    if pick.unit.value not in fitting:
        expected = "one of " + ", ".join(fitting) if fitting else "no unit"
        raise Expected(expected, found=pick.unit.value, at=(name, "unit"))
