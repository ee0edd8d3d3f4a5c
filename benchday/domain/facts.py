"""What every kind of entry has in common: typed facts.

Facts hold no personal data: where a person's own words or contact matter, the entry carries a reference to what stands
beside the chain. Times are day time in microseconds unless the name says otherwise.
"""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict

from benchday.domain.entries import Draft, Entry
from benchday.domain.errors import UnknownKind

KINDS: dict[str, type[Facts]] = {}
"""Kind -> its facts. Filled by the classes below and closed after them."""


class Facts(BaseModel):
    """Facts of one kind of entry."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    kind: ClassVar[str]

    def __init_subclass__(cls, kind: str, **rest: Any) -> None:
        super().__init_subclass__(**rest)
        cls.kind = kind
        KINDS[kind] = cls

    def draft(self, unit: str | None = None, station: str | None = None, operator: str | None = None) -> Draft:
        """Make the entry to be."""
        return Draft(self.kind, self.model_dump(mode="json"), unit=unit, station=station, operator=operator)


def facts_of(entry: Entry) -> Facts:
    """Read an entry's facts.

    Raises:
        UnknownKind: a newer program wrote it.
    """
    model = KINDS.get(entry.kind)
    if model is None or entry.v != 1:
        raise UnknownKind(f"entry {entry.seq} is of kind {entry.kind} (v{entry.v}), which this benchday does not know")
    return model.model_validate(entry.facts)
