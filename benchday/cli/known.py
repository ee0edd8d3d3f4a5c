"""What earlier days of a record say, to a day that has yet to begin or is asked about."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from benchday.domain.bench import Instruments
from benchday.domain.plan import DayPlan
from benchday.planning.register import KINDS, Registered, register_of
from benchday.record.reading import RecordReader, is_begun, open_reader


@contextmanager
def of_its_sort(plan: DayPlan, record: Path) -> Iterator[RecordReader | None]:
    """Open a day's record for reading; yields None if there is none yet, or one of the other sort.

    Raises:
        RecordError: it cannot be read.
    """
    if not is_begun(record):
        yield None
        return
    with open_reader(record) as reader:
        # Simulated and real never mix: neither says anything of the other.
        yield reader if reader.simulated is (plan.day.instruments is Instruments.SIMULATED) else None


def known_units(plan: DayPlan, record: Path) -> Mapping[str, Registered] | None:
    """Return what earlier days of the record say of units; None if no record of this sort says anything.

    Raises:
        RecordError: it cannot be read.
    """
    with of_its_sort(plan, record) as reader:
        return register_of(reader.entries(KINDS)) if reader is not None else None
