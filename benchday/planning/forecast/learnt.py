"""What earlier days taught, as a forecast takes it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

from benchday.domain.entries import Entry
from benchday.domain.playbook import Playbook, StepName
from benchday.planning.disk_room import earlier_recordings
from benchday.planning.durations import Load
from benchday.planning.forecast.habits import habits_of
from benchday.planning.forecast.modelling import Known
from benchday.planning.forecast.stages import LawsOf
from benchday.planning.laws import Law
from benchday.planning.learning import learnt_laws
from benchday.planning.learning_records import Records as OfModel
from benchday.planning.learning_records import records_of, told
from benchday.planning.records import durations_of
from benchday.planning.register import register_of


def known_from(entries: Iterable[Entry], seed: int) -> Known:
    """Return what these entries say for the forecast of a day; its targets are left open.

    Args:
        entries: of one bench, in chain order, from all its days.
        seed: of the guards' draws.
    """
    entries = tuple(entries)
    batteries = {serial: unit.battery for serial, unit in register_of(entries).items()}
    charges = {serial: battery.arrived_percent for serial, battery in batteries.items() if battery is not None}
    return Known(
        targets={},
        percent={serial: percent for serial, percent in charges.items() if percent is not None},
        recordings=earlier_recordings(entries),
        habits=habits_of(entries),
        laws=learnt_by(records_of(told(entries))),
        records=durations_of(entries),
        seed=seed,
    )


def learnt_by(records: Mapping[str, OfModel]) -> LawsOf:
    """Return the laws that playbooks and these records make."""

    @lru_cache(maxsize=4096)
    def laws(model: str, name: str, load: Load) -> Mapping[StepName, Law]:
        return learnt_laws(playbooks[name], records.get(model, {}), load)

    playbooks: dict[str, Playbook] = {}

    def laws_of(model: str, playbook: Playbook, load: Load) -> Mapping[StepName, Law]:
        playbooks[playbook.playbook] = playbook
        return laws(model, playbook.playbook, load)

    return laws_of
