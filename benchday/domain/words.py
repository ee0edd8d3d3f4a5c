"""What the files that a person edits have in common: strict frozen models, dates, times, durations."""

from __future__ import annotations

import re
from datetime import date, time
from decimal import Decimal
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer, WithJsonSchema


class FileModel(BaseModel):
    """A part of a file that a person edits: unknown keys are refused, types are not guessed, values never change."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, use_attribute_docstrings=True)


def _from_list(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _iso_date(text: str) -> str:
    try:
        date.fromisoformat(text)
    except ValueError:
        raise ValueError("a date is written year-month-day, like 2026-03-31 (ISO 8601)") from None
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        raise ValueError("a date is written year-month-day, like 2026-03-31 (ISO 8601)")
    return text


def _clock_time(text: str) -> str:
    if not re.fullmatch(r"[0-2]\d:[0-5]\d", text):
        raise ValueError("a time is written hours:minutes, like 08:30")
    try:
        time.fromisoformat(text)
    except ValueError:
        raise ValueError("a time is written hours:minutes, like 08:30") from None
    return text


def _minutes(value: Any) -> Any:
    """Accept whole or decimal minutes as numbers; text comes back from the journal, where floats may not stand."""
    if isinstance(value, bool):
        return value
    if isinstance(value, (int, float)) or (isinstance(value, str) and re.fullmatch(r"\d+(\.\d+)?", value)):
        return Decimal(str(value))
    return value


IsoDate = Annotated[str, AfterValidator(_iso_date), Field(examples=["2026-03-31"])]
"""A calendar date (ISO 8601), quoted."""

ClockTime = Annotated[str, AfterValidator(_clock_time), Field(examples=["08:30"])]
"""A local time of day, quoted."""

Minutes = Annotated[
    Decimal,
    BeforeValidator(_minutes),
    PlainSerializer(str, return_type=str),
    Field(ge=0),
    WithJsonSchema({"type": "number", "minimum": 0}),
]
"""A duration in minutes, whole or decimal."""

Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")]
"""A short name without control characters."""

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
"""A SHA-256 digest, 64 lower-case hex digits."""

Percent = Annotated[int, Field(ge=0, le=100)]
"""A whole percentage."""


def microseconds(minutes: Decimal) -> int:
    """Return minutes as whole microseconds."""
    return int(minutes * 60_000_000)
