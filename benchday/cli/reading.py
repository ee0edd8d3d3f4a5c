"""Where a command finds its record, and what stands in it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from benchday.cli.conduct import complain
from benchday.domain.bench import BenchFile, DayFile
from benchday.domain.errors import InputError, Mistake, MistakesFound
from benchday.inputs.checked import model_of
from benchday.inputs.day import BENCH, DAY
from benchday.record.place import record_folder
from benchday.record.reading import RecordReader, open_reader
from benchday.record.verifying import refuse_damaged


@dataclass(frozen=True, slots=True)
class Source:
    """A record, and the bench whose chain is meant."""

    record: Path
    bench: str | None = None
    """None: all that have entries there."""


def source_of(day: Path | None, record: Path | None) -> Source:
    """Return the record that is meant: as named, that of the day's folder, or the platform's.

    Raises:
        InputError: the named folder holds no day, or its day.yaml cannot be read.
    """
    folder = day if day is not None else Path()
    if record is not None:
        return Source(record)
    if not (folder / DAY).is_file():
        if day is not None:
            raise InputError(f"{folder} holds no {DAY}; name the day's folder, or a record with --record PATH")
        return Source(record_folder(folder, None, None))
    mistakes: list[Mistake] = []
    day_file = model_of(folder, DAY, DayFile, mistakes)
    if day_file is None:
        raise MistakesFound(tuple(mistakes))
    # Other files may be in the middle of an edit: what stands in the record can be told all the same.
    bench_file = model_of(folder, BENCH, BenchFile, [])
    chosen = folder / day_file.record if day_file.record is not None else None
    return Source(record_folder(folder, None, chosen), bench_file.bench if bench_file else None)


@contextmanager
def opened(source: Source) -> Iterator[tuple[RecordReader, tuple[str, ...]]]:
    """Open the record for reading; yields the reader and the benches that are meant.

    Raises:
        RecordError: there is no record, or it cannot be read.
    """
    with open_reader(source.record) as reader:
        for fault in reader.cut_off():
            complain(f"the record {source.record} DOES NOT PROVE: {fault}; see `benchday record check {source.record}`")
        benches = reader.benches()
        try:
            yield reader, tuple(b for b in benches if source.bench in (None, b))
        except Exception:
            # What makes no sense may come from a record that is damaged: then say that, and what to do.
            refuse_damaged(source.record)
            raise
