"""The document of ``layout DIR --json``, as models, and how it is made."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from benchday.cli.document_parts import Document, Part
from benchday.domain.bench import Instruments
from benchday.domain.plan import DayPlan
from benchday.planning.disk_room import Room
from benchday.planning.layout import Joining, Layout
from benchday.planning.slips import Slip, SlipUnit


class JoiningPart(Part):
    """Cables of one connector, or the Wi-Fi adapters."""

    connector: str | None
    """None: Wi-Fi adapters."""
    owned: list[str]
    """What is written on those that the bench has."""
    units: list[str]
    """Serials of the units that need one."""
    at_once: int
    """How many are useful at once."""
    short: int
    """How many more would be useful."""


class ChargersPart(Part):
    """The chargers."""

    owned: list[str]
    units: list[str]
    """Serials of the units that can need one."""


class PackPart(Part):
    """One charged pack of the shop."""

    number: str
    charge_percent: int


class PacksPart(Part):
    """The packs for one model."""

    model: str
    units: list[str]
    packs: list[PackPart]


class ExternalPart(Part):
    """External supplies for one model."""

    model: str
    units: list[str]
    at_once: int


class ImagePart(Part):
    """One image that the day needs."""

    file: str
    release: str
    bytes: int
    sha256: str
    units: list[str]
    perhaps: list[str]
    """Serials of the units that must pass through it if they come on an old release."""


class RecordingsPart(Part):
    """What to reckon with for one unit."""

    unit: str
    bytes: int
    basis: str


class RoomPart(Part):
    """Room on the record's disk."""

    record: str
    free_bytes: int | None
    spare_bytes: int
    recordings_bytes: int
    units: list[RecordingsPart]
    not_known: list[str]


class SlipUnitPart(Part):
    """One unit of a crew."""

    serial: str
    model: str
    customer: str
    role: str
    arrives: str | None
    promised: str | None
    code: str | None
    accessories: list[str]
    target: str
    to_ask: list[str]


class SlipPart(Part):
    """One crew."""

    crew: str
    units: list[SlipUnitPart]
    cautions: list[str]


class LayoutDocument(Document):
    """layout DIR --json"""

    folder: str
    day: str
    date: str
    simulated: bool
    stations: list[str]
    joinings: list[JoiningPart]
    by_hand: list[str]
    chargers: ChargersPart
    packs: list[PacksPart]
    external: list[ExternalPart]
    images: list[ImagePart]
    images_bytes: int
    room: RoomPart
    crews: list[SlipPart]
    findings: list[dict[str, Any]]
    page: str | None
    """The page that was written; null if none was asked for."""


def layout_facts(folder: Path, record: Path, page: Path | None, plan: DayPlan, layout: Layout) -> Mapping[str, Any]:
    """Return what the document says, contacts and notes left out."""
    return {
        "folder": str(folder),
        "day": plan.day.day,
        "date": plan.hours.date,
        "simulated": plan.day.instruments is Instruments.SIMULATED,
        "stations": [station.name for station in plan.bench.stations],
        "joinings": [_joining(joining) for joining in layout.joinings],
        "by_hand": list(layout.by_hand),
        "chargers": {"owned": list(layout.charging.owned), "units": list(layout.charging.units)},
        "packs": [
            {
                "model": spares.model,
                "units": list(spares.units),
                "packs": [{"number": p.number, "charge_percent": p.charge_percent} for p in spares.packs],
            }
            for spares in layout.spares
        ],
        "external": [{"model": e.model, "units": list(e.units), "at_once": e.at_once} for e in layout.external],
        "images": _images(layout),
        "images_bytes": layout.images_bytes,
        "room": _room(record, layout.room),
        "crews": [_slip(slip) for slip in layout.slips],
        "findings": [finding.as_facts() for finding in layout.findings],
        "page": str(page) if page is not None else None,
    }


def _joining(joining: Joining) -> Mapping[str, Any]:
    return {
        "connector": joining.connector,
        "owned": list(joining.owned),
        "units": list(joining.units),
        "at_once": joining.at_once,
        "short": joining.short,
    }


def _images(layout: Layout) -> list[Mapping[str, Any]]:
    return [
        {
            "file": need.image.file,
            "release": need.image.release,
            "bytes": need.image.bytes,
            "sha256": need.image.sha256,
            "units": list(need.units),
            "perhaps": list(need.perhaps),
        }
        for need in layout.images
    ]


def _room(record: Path, room: Room) -> Mapping[str, Any]:
    return {
        "record": str(record),
        "free_bytes": room.free_bytes,
        "spare_bytes": room.spare_bytes,
        "recordings_bytes": room.recordings_bytes,
        "units": [{"unit": u.unit, "bytes": u.bytes, "basis": u.basis.value} for u in room.units],
        "not_known": list(room.not_known),
    }


def _slip(slip: Slip) -> Mapping[str, Any]:
    return {
        "crew": slip.crew,
        "units": [_unit(unit) for unit in slip.units],
        "cautions": [caution.name for caution in slip.cautions],
    }


def _unit(unit: SlipUnit) -> Mapping[str, Any]:
    return {
        "serial": unit.serial,
        "model": unit.model,
        "customer": unit.customer,
        "role": unit.role.value,
        "arrives": unit.arrives,
        "promised": unit.promised,
        "code": unit.code,
        "accessories": list(unit.accessories),
        "target": unit.target,
        "to_ask": list(unit.to_ask),
    }
