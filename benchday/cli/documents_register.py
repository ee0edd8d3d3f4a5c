"""The documents of the commands about the register and about support terms."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel

from benchday.cli.document_parts import Document, Part


class RegisteredPart(Part):
    """One unit of the register. Days are ISO 8601; null where nobody has said."""

    serial: str
    model: str
    customer: str
    crew: str
    role: str
    """base, rover, either, none, or empty."""
    hardware: str
    release: str | None
    release_on: str | None
    """Day since which it is known to be on this release."""
    last_service: str | None
    term: str | None
    """Last day of the support term."""
    term_source: str | None
    """unit, renewal, supplier, roster or imported."""
    made: str | None
    recordings: int
    recordings_bytes: int
    days_served: int
    holds: int
    full_mwh: int | None
    """Full capacity of the battery, as last read."""
    full_before_mwh: int | None
    """The reading before."""
    full_first_mwh: int | None
    readings: int
    """Days on which the full capacity was read."""
    readings_over_days: int
    capacity_permille_a_year: int | None
    """How the full capacity changes in a year, in thousandths of the first reading; null with less than two."""
    arrived_percent: int | None
    """Charge on the last day on which it came."""


class ImportedPart(Part):
    """What was read in."""

    file: str
    recognised: str
    """Encoding, separator and columns, in words."""
    rows: int
    added: int
    """Entries; rows that say what was read in before add none."""
    notices: list[str]


class ExportedPart(Part):
    """What was written."""

    file: str
    rows: int


class UnitsDocument(Document):
    """units --json"""

    record: str
    simulated: bool
    imported: ImportedPart | None
    exported: ExportedPart | None
    units: list[RegisteredPart]


class DueUnitPart(Part):
    """One unit, and why it is on a list."""

    serial: str
    model: str
    customer: str
    crew: str
    release: str | None
    term: str | None
    source: str | None
    """Who says when the support term ends."""
    newest: str | None
    """The newest release within its term; where there is none, the newest of its model."""
    issued: str | None
    days: int | None
    """Until the term ends, or since the last service."""
    reason: str


class InvitationPart(Part):
    """A crew of a customer, or what a customer has outside any crew, and what it would gain."""

    customer: str
    crew: str
    units: int
    gain: list[str]
    after_renewal: list[str]
    ending: list[str]
    overdue: list[str]
    reason: str


class DueDocument(Document):
    """due --json"""

    record: str
    simulated: bool
    on: str
    within_days: int
    images_on: str | None
    """Day on which the image list was read that releases are compared with; null if the record has seen none."""
    behind: list[DueUnitPart]
    after_renewal: list[DueUnitPart]
    term_unknown: list[DueUnitPart]
    ending: list[DueUnitPart]
    overdue: list[DueUnitPart]
    invite: list[InvitationPart]


class TermPart(Part):
    """One unit of the roster."""

    serial: str
    model: str
    customer: str
    roster: str | None
    listed: str | None
    """What the supplier's list says."""
    says: str
    """agree, differ, only roster, only list or neither."""


class TermsDocument(Document):
    """terms [DIR] --json"""

    folder: str
    supplier: str
    source: str
    """File or address of the list."""
    how: str
    """file, fetched, unchanged, copy or none."""
    as_of: str | None
    notices: list[str]
    units: list[TermPart]


REGISTER_DOCUMENTS: Mapping[str, type[BaseModel]] = {"units": UnitsDocument, "due": DueDocument, "terms": TermsDocument}
