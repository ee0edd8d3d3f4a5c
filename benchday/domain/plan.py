"""The inputs of a day together: what the files of its folder say once they are free of mistakes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from benchday.domain.bench import BenchFile, DayFile, Hours
from benchday.domain.cautions import Caution
from benchday.domain.playbook import Playbook
from benchday.domain.releases import Image, ImageList
from benchday.domain.units import RosterRow


@dataclass(frozen=True, slots=True)
class TermsList:
    """A supplier's list of support terms, as far as it speaks of units of the day."""

    supplier: str
    as_of: str
    """Day of the list: of its file, or of the day on which it was last fetched (ISO 8601)."""
    terms: Mapping[str, str]
    """Serial -> last day of the support term (ISO 8601)."""
    from_copy: bool = False
    """It could not be fetched now; this is the last copy."""


@dataclass(frozen=True, slots=True)
class ImageSignatures:
    """Who signed the image list with a key that the bench knows."""

    signed_by: tuple[str, ...] = ()
    """Names of the bench's image_keys whose signature is good, each once."""
    needed: int = 0
    """How many are needed; 0 where the bench knows no keys, and then the list counts as unsigned."""


@dataclass(frozen=True, slots=True)
class DayPlan:
    """A day's inputs."""

    day: DayFile
    bench: BenchFile
    roster: tuple[RosterRow, ...]
    playbooks: tuple[Playbook, ...]
    images: ImageList
    digests: Mapping[str, str] = field(default_factory=dict)
    """SHA-256 of each file as read, by its name relative to the day's folder (playbooks: by ``playbook:NAME``)."""
    cautions: tuple[Caution, ...] = ()
    """The safety texts of the day, in the order of their file."""
    terms: TermsList | None = None
    """The supplier's list; None if the day names none."""
    signatures: ImageSignatures = ImageSignatures()

    @property
    def zone(self) -> ZoneInfo:
        """The day's time zone."""
        return ZoneInfo(self.day.time_zone)

    @property
    def hours(self) -> Hours:
        """The first date's hours."""
        return self.day.hours[0]

    def at_us(self, clock_time: str) -> int:
        """Return a local time of the day as microseconds since 1970 UTC."""
        local = datetime.fromisoformat(f"{self.hours.date}T{clock_time}").replace(tzinfo=self.zone)
        return int(local.timestamp()) * 1_000_000

    def playbook_for(self, model: str) -> Playbook | None:
        """Return the playbook that covers a model."""
        return next((p for p in self.playbooks if model in p.models), None)

    def playbook_digest(self, playbook: Playbook) -> str:
        """Return the digest of the playbook as read."""
        return self.digests[f"playbook:{playbook.playbook}"]

    def images_for(self, model: str, hardware: str | None = None) -> tuple[Image, ...]:
        """Return the images that suit a model and hardware revision, oldest release first."""
        return tuple(sorted((i for i in self.images.images if i.suits(model, hardware)), key=lambda i: i.version))

    def row(self, serial: str) -> RosterRow | None:
        """Return the roster's row of a unit."""
        return next((r for r in self.roster if r.serial == serial), None)
