"""What the files that a person edits have in common: strict frozen models, dates, times, durations."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer, WithJsonSchema


class FileModel(BaseModel):
    """A part of a file that a person edits: unknown keys are refused, types are not guessed, values never change."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)


class Expected(ValueError):
    """A value is not what it should be, in words for the person who wrote it."""

    def __init__(
        self, expected: str, *, found: str | None = None, at: tuple[str | int, ...] = (), nearest: str | None = None
    ) -> None:
        self.expected = expected
        self.found = found
        """None: the value itself is shown."""
        self.at = at
        """Where inside the value that was checked: keys and positions, counted from 0."""
        self.nearest = nearest
        super().__init__(f"expected {expected}" + (f", found {found}" if found else ""))


A_DATE = "a date, year-month-day, like 2026-03-31 (ISO 8601)"
A_TIME = "a time of day, hours:minutes, like 08:30"


def is_date(text: object) -> bool:
    """Tell whether something is a date, year-month-day (ISO 8601)."""
    try:
        return isinstance(text, str) and bool(iso_date(text))
    except Expected:
        return False


def iso_date(text: str) -> str:
    """Return the text if it is a date (ISO 8601), else raise Expected."""
    try:
        date.fromisoformat(text)
    except ValueError:
        raise Expected(A_DATE) from None
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise Expected(A_DATE)
    return text


def clock_time(text: str) -> str:
    """Return the text if it is a local time of day, else raise Expected."""
    if not re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", text):
        raise Expected(A_TIME)
    return text


def public_key(text: str) -> str:
    """Return the text if it can be an Ed25519 public key (RFC 8032) in hex, else raise Expected."""
    if not re.fullmatch(r"[0-9a-f]{64}", text):
        raise Expected("an Ed25519 public key, 64 lower-case hexadecimal digits")
    return text


def _number(value: Any, expected: str) -> Any:
    """Accept a whole or decimal number; text comes back from the journal, where floats may not stand."""
    if isinstance(value, bool):
        raise Expected(expected)
    if isinstance(value, (int, float)) or (isinstance(value, str) and re.fullmatch(r"\d+(\.\d+)?", value)):
        return Decimal(str(value))
    if isinstance(value, Decimal):
        return value
    raise Expected(expected)


def _minutes(value: Any) -> Any:
    return _number(value, "minutes as a number, like 2 or 0.5")


def _seconds(value: Any) -> Any:
    return _number(value, "seconds as a number, like 6 or 0.5")


def _money(value: Any) -> Any:
    return _number(value, "an amount as a number, like 38 or 12.50")


IsoDate = Annotated[str, AfterValidator(iso_date), Field(examples=["2026-03-31"])]
"""A calendar date (ISO 8601), quoted."""

ClockTime = Annotated[str, AfterValidator(clock_time), Field(examples=["08:30"])]
"""A local time of day, quoted."""

Minutes = Annotated[
    Decimal,
    BeforeValidator(_minutes),
    PlainSerializer(str, return_type=str),
    Field(ge=0),
    WithJsonSchema({"type": "number", "minimum": 0}),
]
"""A duration in minutes, whole or decimal."""

Seconds = Annotated[
    Decimal,
    BeforeValidator(_seconds),
    PlainSerializer(str, return_type=str),
    Field(gt=0, le=600),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0, "maximum": 600}),
]
"""A time limit of real seconds, whole or decimal."""

Money = Annotated[
    Decimal,
    BeforeValidator(_money),
    PlainSerializer(str, return_type=str),
    Field(ge=0, le=10**9),
    WithJsonSchema({"type": "number", "minimum": 0}),
]
"""An amount in the shop's own currency."""

Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")]
"""A short name without control characters."""

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
"""A SHA-256 digest, 64 lower-case hex digits."""

PublicKey = Annotated[str, AfterValidator(public_key)]
"""An Ed25519 public key (RFC 8032), 64 lower-case hex digits."""

Percent = Annotated[int, Field(ge=0, le=100)]
"""A whole percentage."""


def microseconds(minutes: Decimal) -> int:
    """Return minutes as whole microseconds."""
    return int(minutes * 60_000_000)
