"""The documents that commands print with ``--json``, as models; their JSON Schema is shipped by ``schema``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from benchday.cli.document_parts import Document, MistakePart, NoticePart, Part
from benchday.cli.documents_drivers import DRIVERS_DOCUMENTS
from benchday.cli.documents_durations import DURATIONS_DOCUMENTS
from benchday.cli.documents_forecast import FORECAST_DOCUMENTS
from benchday.cli.documents_images import IMAGES_DOCUMENTS
from benchday.cli.documents_layout import LayoutDocument
from benchday.cli.documents_ports import PortsDocument
from benchday.cli.documents_record import RECORD_DOCUMENTS
from benchday.cli.documents_register import REGISTER_DOCUMENTS
from benchday.cli.documents_targets import TargetsDocument
from benchday.cli.documents_try import TRY_DOCUMENTS


class ValidateDocument(Document):
    """validate DIR --json"""

    folder: str
    mistakes: list[MistakePart]
    notices: list[NoticePart]
    digests: dict[str, str]


class NewDocument(Document):
    """new DIR --json"""

    folder: str
    files: list[str]


class EntryPart(Part):
    """One entry of the chain."""

    bench: str
    seq: int
    kind: str
    v: int
    at_us: int
    wall_us: int
    unit: str | None
    station: str | None
    operator: str | None
    facts: dict[str, Any]
    personal: dict[str, str | None]
    """Personal texts that stand beside the chain, by the name of the fact; null where one was erased."""
    body: str
    """The canonical bytes (RFC 8785, UTF-8) of the whole entry, as they were hashed."""
    prev: str
    digest: str
    """SHA-256(prev, then body)."""


class SummaryPart(Part):
    """One line of a log's head."""

    bench: str
    label: str
    value: str


class UnitDocument(Document):
    """unit SERIAL --json"""

    serial: str
    simulated: bool
    record: str
    summary: list[SummaryPart]
    entries: list[EntryPart]
    """About the unit, in chain order."""
    days: list[EntryPart]
    """About the days and sets it was part of, in chain order."""


class StationPart(Part):
    """One station now."""

    name: str
    unit: str | None
    model: str
    crew: str
    step: str
    what: str
    percent: int | None
    until_us: int | None
    item: str | None
    place: str
    runs: str
    """How long a step that a person minds has run, of about how long; empty of any other."""


class AsidePart(Part):
    """A unit that waits, or is held."""

    serial: str
    model: str
    crew: str
    state: str
    reason: str
    lifts: str
    station: str | None


class ItemPart(Part):
    """An open item."""

    id: str
    kind: str
    topic: str
    text: str
    unit: str | None
    station: str | None
    wanted: list[dict[str, Any]]
    figures: dict[str, int | str]
    ability: str | None
    safety: bool
    expires_us: int | None
    asked_us: int
    cautions: list[str]
    taken_by: str | None


class LinePart(Part):
    """A stopped line: no permit for this model and release."""

    model: str
    release: str
    reason: str


class BenchPart(Part):
    """One bench's day."""

    bench: str
    day: str | None
    date: str | None
    simulated: bool
    as_of_us: int
    """Day time of the last entry."""
    closes_us: int | None
    acting: str | None
    closed: bool
    counts: dict[str, int]
    stations: list[StationPart]
    waiting: list[AsidePart]
    held: list[AsidePart]
    items: list[ItemPart]
    lines_stopped: list[LinePart]


class StatusDocument(Document):
    """status [DIR] --json"""

    record: str
    simulated: bool
    benches: list[BenchPart]


class RunDocument(BenchPart):
    """run DIR --json"""

    benchday: str
    why: str
    """finished, stopped or nobody."""


class CloseDocument(Document):
    """close DIR --json"""

    closed: bool
    against: list[str]
    """What stands against closing; empty when it was closed."""
    overnight: list[dict[str, str]]


class DemoUnitPart(Part):
    """What became of one unit."""

    serial: str
    reported_serial: str | None
    model: str
    crew: str | None
    had: str | None
    has: str | None
    target: str | None
    route: list[str]
    writes: list[str]
    permits: int
    outcome: str
    """handed-back, ready, held, absent or not-begun."""
    reason: str
    findings: list[dict[str, Any]]
    preserved: list[dict[str, Any]]
    minutes: int | None


class DemoDocument(Document):
    """demo [DIR] --json"""

    simulated: bool
    day: str | None
    date: str | None
    finished: bool
    record: str
    units: list[DemoUnitPart]


DOCUMENTS: Mapping[str, type[BaseModel]] = {
    "new": NewDocument,
    "validate": ValidateDocument,
    "layout": LayoutDocument,
    "targets": TargetsDocument,
    "run": RunDocument,
    "demo": DemoDocument,
    "status": StatusDocument,
    "unit": UnitDocument,
    "close": CloseDocument,
    "ports": PortsDocument,
    **REGISTER_DOCUMENTS,
    **DURATIONS_DOCUMENTS,
    **DRIVERS_DOCUMENTS,
    **FORECAST_DOCUMENTS,
    **IMAGES_DOCUMENTS,
    **RECORD_DOCUMENTS,
    **TRY_DOCUMENTS,
}
"""Command -> its document."""
