"""What earlier days of a record say of a day's units."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from benchday.domain.bench import Instruments
from benchday.domain.plan import DayPlan
from benchday.planning.register import KINDS, Registered, register_of
from benchday.record.place import Place
from benchday.record.reading import open_reader


def known_units(plan: DayPlan, record: Path) -> Mapping[str, Registered] | None:
    """Return what earlier days of the record say of units; None if there is no record yet, or one of the other sort.

    Raises:
        RecordError: it cannot be read.
    """
    if not Place(record).journal.is_file():
        return None
    with open_reader(record) as reader:
        # Simulated and real never mix: neither says anything of the other.
        if reader.simulated is not (plan.day.instruments is Instruments.SIMULATED):
            return None
        return register_of(reader.entries(KINDS))
