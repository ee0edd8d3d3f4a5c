"""Room for the day's recordings: what the units had on earlier days, and what the record's disk has free."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from benchday.domain.checks import Answer, Check, Finding
from benchday.domain.entries import Entry
from benchday.domain.plan import DayPlan
from benchday.domain.units import RosterRow
from benchday.planning.checks import SPARE_BYTES
from benchday.planning.wording import counted, in_bytes

RECORDINGS = ("day_begun", "unit_expected", "unit_walked_in", "recordings_listed")
"""The kinds of entries that say something of recordings."""


class Basis(StrEnum):
    """What an expectation of recordings rests on."""

    ITS_OWN = "what it had the last time"
    ITS_MODEL = "the mean of its model"
    ALL = "the mean of all units"


@dataclass(frozen=True, slots=True)
class Earlier:
    """What earlier days say of recordings."""

    units: Mapping[str, int] = field(default_factory=dict)
    """Serial -> bytes that were on it the last time."""
    models: Mapping[str, int] = field(default_factory=dict)
    """Model -> mean of its units, bytes."""

    @property
    def mean_bytes(self) -> int | None:
        """The mean over all units; None if nothing is known."""
        return _mean(list(self.units.values())) if self.units else None

    def expect(self, row: RosterRow) -> UnitRecordings | None:
        """Return what to reckon with for a unit; None if no day says anything."""
        if row.serial in self.units:
            return UnitRecordings(row.serial, self.units[row.serial], Basis.ITS_OWN)
        if row.model in self.models:
            return UnitRecordings(row.serial, self.models[row.model], Basis.ITS_MODEL)
        mean = self.mean_bytes
        return None if mean is None else UnitRecordings(row.serial, mean, Basis.ALL)


@dataclass(frozen=True, slots=True)
class UnitRecordings:
    """What to reckon with for one unit."""

    unit: str
    bytes: int
    basis: Basis


@dataclass(frozen=True, slots=True)
class Room:
    """Room for the day's recordings."""

    units: tuple[UnitRecordings, ...]
    not_known: tuple[str, ...]
    """Serials of the units of which nothing can be said."""
    spare_bytes: int
    """What must remain free beside the recordings, by the strictest playbook."""
    free_bytes: int | None
    """What the record's disk has free; None if that could not be read."""

    @property
    def recordings_bytes(self) -> int:
        """What to reckon with for all units together."""
        return sum(unit.bytes for unit in self.units)


def earlier_recordings(entries: Iterable[Entry]) -> Earlier:
    """Return what the recordings of earlier days came to: for each unit the most that its last day listed."""
    units: dict[str, int] = {}
    models: dict[str, str] = {}
    listed: set[str] = set()
    for entry in entries:
        if entry.kind == "day_begun":
            listed = set()
        elif entry.unit is not None and entry.kind in ("unit_expected", "unit_walked_in"):
            models[entry.unit] = entry.facts["model"]
        elif entry.unit is not None and entry.kind == "recordings_listed":
            size = sum(recording["bytes"] for recording in entry.facts["recordings"])
            # Once written, a unit that is served again lists nothing: that says nothing of what it brings.
            units[entry.unit] = max(size, units[entry.unit]) if entry.unit in listed else size
            listed.add(entry.unit)
    by_model: dict[str, list[int]] = {}
    for serial, size in units.items():
        if serial in models:
            by_model.setdefault(models[serial], []).append(size)
    return Earlier(units, {model: _mean(sizes) for model, sizes in by_model.items()})


def room_for(plan: DayPlan, earlier: Earlier, free_bytes: int | None) -> Room:
    """Return the room that the units of the roster want."""
    expected = [(row.serial, earlier.expect(row)) for row in plan.roster]
    playbooks = {p.playbook: p for row in plan.roster if (p := plan.playbook_for(row.model)) is not None}
    spare = [p.limit(Check.ROOM, "spare_bytes", SPARE_BYTES) for p in playbooks.values()]
    return Room(
        units=tuple(found for _, found in expected if found is not None),
        not_known=tuple(serial for serial, found in expected if found is None),
        spare_bytes=max(spare, default=SPARE_BYTES),
        free_bytes=free_bytes,
    )


def room_finding(room: Room) -> Finding:
    """Answer whether the record's disk will do for the day.

    Too little for the spare room alone stops every write; an expectation of recordings is only a reason to look.
    """
    figures: dict[str, int | str] = {"recordings_bytes": room.recordings_bytes, "spare_bytes": room.spare_bytes}
    spare = f"{in_bytes(room.spare_bytes)} must stay free"
    if room.free_bytes is None:
        text = f"how much room the record's disk has could not be read; {spare}: look, and make sure"
        return Finding(Check.ROOM, Answer.ASK, text, figures, clears="the record's disk has room enough")

    figures["free_bytes"] = room.free_bytes
    free = f"the record's disk has {in_bytes(room.free_bytes)} free"
    if room.free_bytes < room.spare_bytes:
        text = f"{free}, and {spare}: nothing would be written; make room on it"
        return Finding(Check.ROOM, Answer.STOP, text, figures, clears="the record's disk has room enough")
    if room.free_bytes < room.spare_bytes + room.recordings_bytes:
        text = f"{free}, {spare}, and {expectation(room)}: make room on it"
        return Finding(Check.ROOM, Answer.ASK, text, figures, clears="the record's disk has room enough")
    return Finding(Check.ROOM, Answer.CLEAR, f"{free}, {spare}, and {expectation(room)}", figures)


def expectation(room: Room) -> str:
    """Word what the recordings of the day will come to."""
    if not room.units:
        return "what the units bring is not known: no earlier day of this record tells"
    told = f"{in_bytes(room.recordings_bytes)} of recordings are to be reckoned with"
    if room.not_known:
        return f"{told}, {counted(len(room.not_known), 'unit')} not counted"
    return told


def _mean(sizes: Sequence[int]) -> int:
    """Return the mean, rounded up to whole bytes."""
    return -(-sum(sizes) // len(sizes))
