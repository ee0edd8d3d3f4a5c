"""The document of the command about drivers."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel

from benchday.cli.document_parts import Document, Part


class DriverPart(Part):
    """One driver that a playbook may name."""

    name: str
    source: str
    """benchday for a built-in one, else the distribution that brings it."""
    version: str | None
    entry_point: str | None
    """module:attribute; null for a built-in one."""
    capabilities: list[str] | None
    """null where its maker does not say what it makes, or cannot be used."""
    by_hand: list[str] | None
    """Capabilities that it lacks, so that an operator is asked; null where it is not known."""
    settings: list[str] | None
    """null where its maker does not say what it takes."""
    usable: bool
    problem: str | None
    """Why it cannot be used here, and what to do about that."""


class DriversDocument(Document):
    """drivers --json"""

    drivers: list[DriverPart]


DRIVERS_DOCUMENTS: Mapping[str, type[BaseModel]] = {"drivers": DriversDocument}
