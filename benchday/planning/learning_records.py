"""What the shop's own days teach: each step that was done, how long it took, what it moved, and what was lost before.

A step that is cut and tried again is one step done: its duration is that of the try that ended well, and what passed
since its first try began is time lost. Steps that ended in a hold, were refused or withdrawn teach nothing, nor do
those in which the bench PC slept.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from pydantic import ValidationError

from benchday.domain.entries import Entry
from benchday.domain.plan_says import PLAYBOOK
from benchday.domain.playbook import Playbook, StepName
from benchday.planning.wording import MINUTE_US

KINDS = (
    "day_begun",
    "clock_anchored",
    "program_started",
    "input_read",
    "unit_expected",
    "unit_walked_in",
    "step_begun",
    "step_ended",
    "recording_preserved",
    "act_spent",
    "unit_held",
    "unit_sent_off",
    "pc_slept",
)
"""The kinds of entries that durations are learnt from."""
MOVES_BYTES = (StepName.PRESERVE, StepName.WRITE)
"""The steps whose time may follow from a size."""


@dataclass(frozen=True, slots=True)
class Served:
    """A step of one unit that was done."""

    day: int
    """Number of its day, in the order in which the days of all benches began."""
    model: str
    step: StepName
    took_us: int
    """Of the try that ended well."""
    moved_bytes: int | None = None
    """What was copied or written in it; None for a step that moves nothing."""
    lost_us: int | None = None
    """From the beginning of its first try to that of the last; None if the first try ended well."""

    @property
    def minutes(self) -> float:
        """What it took."""
        return self.took_us / MINUTE_US


@dataclass(frozen=True, slots=True)
class DayBegins:
    """A day that teaches begins; what was told before it is known by then."""

    bench: str
    day: int


@dataclass(frozen=True, slots=True)
class PlaybookRead:
    """A playbook as a day read it."""

    playbook: Playbook


@dataclass(frozen=True, slots=True)
class StepRecords:
    """What is known of one step of one model, oldest first."""

    tries: tuple[Served, ...] = ()

    @property
    def minutes(self) -> tuple[float, ...]:
        """What each took."""
        return tuple(t.minutes for t in self.tries)

    @property
    def lost(self) -> tuple[float, ...]:
        """What was lost before in those that took another try, minutes."""
        return tuple(t.lost_us / MINUTE_US for t in self.tries if t.lost_us is not None)


Records = Mapping[StepName, StepRecords]
"""Of one model."""


@dataclass(slots=True)
class _Open:
    """A step that has begun and not been done."""

    began_us: int
    last_us: int
    """When its last try began."""
    moved_bytes: int = 0
    cut: bool = False


@dataclass(slots=True)
class _Bench:
    """Where a bench's chain is."""

    day: int = 0
    teaches: bool = False
    models: dict[str, str] = field(default_factory=dict)
    open: dict[tuple[str, str], _Open] = field(default_factory=dict)
    now: dict[str, str] = field(default_factory=dict)
    """Unit -> the step that it is in."""

    def forget(self, unit: str) -> None:
        """Give up what has begun with a unit."""
        self.open = {key: begun for key, begun in self.open.items() if key[0] != unit}
        self.now.pop(unit, None)


Told = Served | DayBegins | PlaybookRead


def told(entries: Iterable[Entry], *, simulated: bool = False) -> Iterator[Told]:
    """Yield days, playbooks and steps done, in the order of the entries; those of several benches may take turns.

    Args:
        entries: of ``KINDS`` at least.
        simulated: learn from simulated days, at whatever speed, and from no real one. Otherwise only real days at
            speed 1 teach: what a simulated day or another speed took says nothing of the shop.
    """
    benches: dict[str, _Bench] = {}
    days = 0
    for entry in entries:
        bench = benches.setdefault(entry.bench, _Bench())
        facts = entry.facts
        if entry.kind == "day_begun":
            days += 1
            teaches = facts["simulated"] is simulated and (simulated or facts["speed_milli"] == 1000)
            benches[entry.bench] = bench = _Bench(days, teaches)
            if teaches:
                yield DayBegins(entry.bench, days)
        elif entry.kind == "clock_anchored":
            bench.teaches = bench.teaches and (simulated or facts["speed_milli"] == 1000)
        elif entry.kind in ("program_started", "pc_slept"):
            bench.open, bench.now = {}, {}
        elif entry.kind == "input_read":
            # A day that teaches nothing may all the same say what a playbook is.
            yield from _playbook(entry)
        elif entry.unit is not None and bench.teaches:
            yield from _of_unit(bench, entry, entry.unit)


def _playbook(entry: Entry) -> Iterator[PlaybookRead]:
    if not entry.facts["name"].startswith(PLAYBOOK):
        return
    try:
        yield PlaybookRead(Playbook.model_validate_json(json.dumps(entry.facts["says"])))
    except ValidationError:
        # Another version of the program wrote it; a later day may say it anew.
        return


def _of_unit(bench: _Bench, entry: Entry, unit: str) -> Iterator[Served]:
    facts = entry.facts
    if entry.kind in ("unit_expected", "unit_walked_in"):
        bench.models[unit] = facts["model"]
    elif entry.kind == "step_begun":
        bench.now[unit] = facts["step"]
        begun = bench.open.setdefault((unit, facts["step"]), _Open(entry.at_us, entry.at_us))
        begun.last_us, begun.moved_bytes = entry.at_us, 0
    elif entry.kind == "step_ended":
        yield from _ended(bench, entry, unit)
    elif entry.kind in ("recording_preserved", "act_spent"):
        begun_now = bench.open.get((unit, bench.now.get(unit, "")))
        if begun_now is not None:
            begun_now.moved_bytes += facts["bytes"]
    elif entry.kind in ("unit_held", "unit_sent_off"):
        bench.forget(unit)


def _ended(bench: _Bench, entry: Entry, unit: str) -> Iterator[Served]:
    facts = entry.facts
    key = (unit, facts["step"])
    if facts["outcome"] == "cut" and key in bench.open:
        bench.open[key].cut = True
        return
    begun = bench.open.pop(key, None)
    if facts["outcome"] != "done" or begun is None or unit not in bench.models or facts["step"] not in set(StepName):
        return
    step = StepName(facts["step"])
    moved = begun.moved_bytes if step in MOVES_BYTES else None
    lost = begun.last_us - begun.began_us if begun.cut else None
    yield Served(bench.day, bench.models[unit], step, facts["took_us"], moved, lost)


def records_of(steps: Iterable[Told]) -> Mapping[str, Records]:
    """Return model -> step -> its records."""
    found: dict[str, dict[StepName, list[Served]]] = {}
    for served in steps:
        if isinstance(served, Served):
            found.setdefault(served.model, {}).setdefault(served.step, []).append(served)
    return {m: {name: StepRecords(tuple(tries)) for name, tries in by.items()} for m, by in found.items()}
