"""The document of the command about ports."""

from __future__ import annotations

from benchday.cli.document_parts import Document, Part


class HeardPart(Part):
    """What came of asking on a port."""

    playbook: str | None
    """None: nobody answered."""
    serial: str | None
    model: str | None
    release: str | None
    silence: str


class PortPart(Part):
    """A serial port that is plugged in, or that a cable of the day names by its path."""

    device: str
    description: str
    ids: str
    """Vendor and product, hexadecimal; empty if it is not on USB."""
    serial: str | None
    location: str | None
    interface: int | None
    line: int
    names: list[str]
    """What may be written into bench.yaml for it, best first."""
    power_saving: bool | None
    """The system may put it to sleep; null where it does not tell."""
    in_use: str | None
    cables: list[str]
    """Numbers of the day's cables that appear there."""
    heard: HeardPart | None
    """Null: not asked."""


class CablePortPart(Part):
    """A cable of the day."""

    number: str
    connector: str
    port: str | None
    device: str | None
    """What the system calls its port today."""
    unit: str | None
    """Serial of the unit that has it now, by the day's record."""
    station: str | None


class TroublePart(Part):
    """One thing to put right."""

    code: str
    """absent, forbidden, in use, double, shared or power saving."""
    where: str
    text: str
    stops: bool


class PortsDocument(Document):
    """ports [DIR] --json"""

    folder: str | None
    ports: list[PortPart]
    cables: list[CablePortPart]
    troubles: list[TroublePart]
    udev: str | None
    """The rule text, with --udev."""
