"""The documents of the commands about the record."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel

from benchday.cli.document_parts import Document, Part


class EndPart(Part):
    """Where a chain ends."""

    bench: str
    seq: int
    """The last entry; they are counted from 1 without a gap."""
    digest: str


class FoundPart(Part):
    """One thing that was found."""

    code: str
    """Of a fault: database, chain, canonical, archive, copy. Worth knowing: open, left over, unnamed, held."""
    where: str
    """Bench and entry, or a path."""
    text: str
    unit: str | None
    """Serial of the unit concerned."""


class MissingPart(Part):
    """An entry of the old record that is lost, as far as it can still be read there."""

    bench: str
    seq: int
    kind: str
    unit: str | None
    wall_us: int


class LostPart(Part):
    """How many entries of a bench are known to be lost."""

    bench: str
    entries: int


class RecordCopyDocument(Document):
    """record copy DEST [DIR] --json"""

    record: str
    copy_in: str
    simulated: bool
    made_wall_us: int
    ends: list[EndPart]
    entries_new: int
    """Entries that the copy lacked before."""
    recordings: int
    """Files of the archive that the copy holds."""
    recordings_new: int
    bytes_new: int
    lacking: list[str]
    """Files that neither record nor copy holds whole; the status is 5 then."""


class RecordCheckDocument(Document):
    """record check [PATH] --json"""

    record: str
    copy_of: str | None
    """Path of the record that this is a copy of; null: it is no copy."""
    copied_wall_us: int | None
    simulated: bool | None
    """Null: it does not say."""
    proves: bool
    ends: list[EndPart]
    recordings: int
    """Files that entries name and the archive holds whole."""
    faults: list[FoundPart]
    notices: list[FoundPart]
    """Worth knowing, and nothing against it."""


class RecordRestoreDocument(Document):
    """record restore COPY [DIR] --json"""

    record: str
    copy_in: str
    copied_wall_us: int | None
    simulated: bool | None
    changed: bool
    """False: the record is whole and holds all that the copy does."""
    aside: str | None
    """Where the old record is now; null: there was none, or it was not replaced."""
    ends: list[EndPart]
    """Of the copy."""
    lost: list[LostPart]
    missing: list[MissingPart]
    recordings_put_back: list[str]
    """Digests of files that were put back into the archive of a record that is whole otherwise."""
    recordings_kept_besides: int
    """Files that the old archive held whole and the copy lacks; they are in the new archive too."""
    held: list[str]
    """Serials of units that are held until somebody has looked at them."""


RECORD_DOCUMENTS: Mapping[str, type[BaseModel]] = {
    "record-copy": RecordCopyDocument,
    "record-check": RecordCheckDocument,
    "record-restore": RecordRestoreDocument,
}
