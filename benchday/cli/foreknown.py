"""What the record says for a forecast: charges, recordings, habits, durations, and how far the day has come."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from benchday.bench.beginning import is_closed, is_under_way
from benchday.cli.known import of_its_sort
from benchday.domain.bench import Instruments
from benchday.domain.fold import DayState, fold
from benchday.domain.plan import DayPlan
from benchday.domain.plan_says import plan_of
from benchday.planning.before_day import Before, before_day
from benchday.planning.disk_room import RECORDINGS, Earlier, earlier_recordings
from benchday.planning.forecast import habits
from benchday.planning.forecast.habits import Habits, habits_of
from benchday.planning.forecast.learnt import learnt_by
from benchday.planning.forecast.modelling import Compiled, Known, model_before
from benchday.planning.forecast.so_far import model_now
from benchday.planning.forecast.stages import Records
from benchday.planning.learning_records import KINDS, records_of, told
from benchday.planning.learning_records import Records as OfModel
from benchday.planning.records import durations_of
from benchday.planning.register import KINDS as OF_UNITS
from benchday.planning.register import Registered, register_of
from benchday.record.place import record_folder
from benchday.record.reading import RecordReader


@dataclass(frozen=True, slots=True)
class Foreknown:
    """Everything a day's forecast rests on."""

    plan: DayPlan
    """As accepted, if the day is under way."""
    known: Known
    before: Before
    state: DayState | None
    """Of the day, if it is under way."""
    closed: bool
    """The record holds this day, closed: it is forecast as if it had not begun."""
    steps: int
    """Steps of earlier real days that durations were learnt from."""

    def compiled(self, replications: int) -> Compiled:
        """Compile the day, or what is left of it."""
        if self.state is None:
            return model_before(self.plan, self.known, replications=replications)
        return model_now(self.plan, self.state, self._now_us(self.state), self.known, replications=replications)

    def _now_us(self, state: DayState) -> int:
        """Return now: of a real day by the clock, of a simulated one when it was last heard of."""
        closes_us = int((state.begun or {})["closes_us"])
        clock_us = time.time_ns() // 1000
        real = self.plan.day.instruments is Instruments.REAL
        return max(state.at_us, clock_us) if real and clock_us <= closes_us else state.at_us


@dataclass(frozen=True, slots=True)
class _Said:
    """What a record says."""

    units: Mapping[str, Registered] | None = None
    recordings: Earlier = field(default_factory=Earlier)
    habits: Habits = field(default_factory=Habits)
    learnt: Mapping[str, OfModel] | None = None
    records: Records | None = None
    state: DayState | None = None


def foreknown(plan: DayPlan, folder: Path, record: Path | None, seed: int) -> Foreknown:
    """Read what the record says of a day.

    Args:
        plan: the day's inputs.
        folder: of the day.
        record: as the command was told; None: where the day has it.
        seed: of the guards' draws.

    Raises:
        RecordError: there is a record, and it cannot be read.
    """
    said = _said(plan, record_folder(folder, plan.day.record, record))
    state = said.state if said.state is not None and is_under_way(said.state, plan) else None
    closed = said.state is not None and is_closed(said.state, plan)
    if state is not None:
        plan = plan_of(state.inputs)
    before = before_day(plan, said.units)
    charges = {serial: unit.battery.arrived_percent for serial, unit in (said.units or {}).items() if unit.battery}
    learnt = said.learnt or {}
    known = Known(
        targets={target.unit: target for target in before.found},
        percent={serial: percent for serial, percent in charges.items() if percent is not None},
        recordings=said.recordings,
        habits=said.habits,
        laws=learnt_by(learnt),
        records=said.records or {},
        seed=seed,
    )
    steps = sum(len(step.tries) for of_model in learnt.values() for step in of_model.values())
    return Foreknown(plan, known, before, state, closed, steps)


def _said(plan: DayPlan, record: Path) -> _Said:
    with of_its_sort(plan, record) as reader:
        return _read(plan, reader) if reader is not None else _Said()


def _read(plan: DayPlan, reader: RecordReader) -> _Said:
    own = reader.read(plan.bench.bench)
    return _Said(
        units=register_of(reader.entries(OF_UNITS)),
        recordings=earlier_recordings(reader.entries(RECORDINGS)),
        habits=habits_of(reader.entries(habits.KINDS)),
        learnt=records_of(told(reader.entries(KINDS))),
        records=durations_of(own),
        state=fold(own),
    )
