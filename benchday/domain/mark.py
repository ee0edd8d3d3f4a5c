"""The shop's known mark: a point beside the bench whose place somebody has determined and written down."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, field_validator

from benchday.domain.words import Expected, FileModel, Name

Degrees = Annotated[str, Field(pattern=r"^[+-]?[0-9]{1,3}(\.[0-9]{1,10})?$", examples=["12.5761300"])]
"""Degrees and decimals, quoted: the journal holds no floating-point numbers."""
Metres = Annotated[str, Field(pattern=r"^[+-]?[0-9]{1,5}(\.[0-9]{1,4})?$", examples=["89.0"])]


class Mark(FileModel):
    """A known mark, as bench.yaml has it."""

    name: Name
    latitude: Degrees
    """North positive."""
    longitude: Degrees
    """East positive."""
    height: Metres
    """Of the mark above the ellipsoid, metres."""
    frame: Name
    """Reference frame in which these are given."""
    epoch: Annotated[str, Field(pattern=r"^[0-9]{4}(\.[0-9]{1,3})?$", examples=["2026.0"])]
    """Of the coordinates, years."""
    antenna_height_mm: Annotated[int, Field(ge=0, le=10_000)]
    """From the mark up to the antennas that stand over it; their heights are compared there."""
    source: Name
    """Who determined it, and how."""
    uncertainty_mm: Annotated[int, Field(ge=0, le=100_000)]
    """How far off it may be, with whatever its frame and epoch are away from what receivers give."""

    @field_validator("latitude")
    @classmethod
    def _a_latitude(cls, text: str) -> str:
        if abs(float(text)) > 90:
            raise Expected("a latitude from -90 to 90 degrees", found=text)
        return text

    @field_validator("longitude")
    @classmethod
    def _a_longitude(cls, text: str) -> str:
        if abs(float(text)) > 180:
            raise Expected("a longitude from -180 to 180 degrees", found=text)
        return text
