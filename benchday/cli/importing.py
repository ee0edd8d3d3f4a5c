"""Reading a list of units into a record: everything in one transaction, or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import anyio

from benchday.cli.reading import Source
from benchday.domain.bench import DayFile, Instruments
from benchday.domain.entries import Draft
from benchday.domain.errors import InputError, MistakesFound
from benchday.inputs.checked import checked
from benchday.inputs.day import DAY
from benchday.inputs.register_csv import RegisterRow, RegisterTable, read_register
from benchday.inputs.source import plain_bytes, read_bytes
from benchday.inputs.yaml_text import read_yaml
from benchday.record.clock import DayClock
from benchday.record.journal import open_journal
from benchday.record.reading import is_begun, open_reader

CHAIN = "register"
"""Chain of what is read in outside any day, so that no bench's day is touched."""
LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class Imported:
    """What was read in."""

    file: str
    recognised: str
    rows: int
    added: int
    notices: tuple[str, ...]


def import_list(source: Source, named: bool, file: Path, operator: str | None) -> Imported:
    """Read a list of units into the record.

    Args:
        source: the record.
        named: whether the command line named it; a day's own record is of the day's sort from the beginning.
        file: the list.
        operator: who reads it in.

    Raises:
        InputError: the list holds mistakes, all of them told, or nobody is named.
        RecordError: another program writes the record, or it cannot be written; nothing was read in.
    """
    who = _named(operator)
    simulated = _sort_of(source.record, named)
    table = read_register(_bytes_of(file), file.name, simulated=simulated)
    if table.mistakes:
        raise MistakesFound(tuple(table.mistakes))
    new = _new_rows(source.record, table)
    if new:
        anyio.run(_append, source.record, simulated, [_draft(row, file.name, who) for row in new])
    notices = tuple(str(notice) for notice in table.notices)
    return Imported(file.name, table.recognised(), len(table.rows), len(new), notices)


def _named(operator: str | None) -> str:
    name = (operator or "").strip()
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise InputError("say who reads the list in: --operator NAME; the name stands in the record")
    return name


def _bytes_of(file: Path) -> bytes:
    try:
        return plain_bytes(file)
    except OSError as error:
        raise InputError(f"{file} cannot be read: {error.strerror or error}") from error


def _sort_of(record: Path, named: bool) -> bool:
    """Tell whether the record is, or will be, a simulated one."""
    if is_begun(record):
        with open_reader(record) as reader:
            return reader.simulated
    data = None if named else read_bytes(Path(DAY), DAY, [])
    day = checked(read_yaml(data, DAY), DayFile) if data is not None else None
    return day is not None and day.instruments is Instruments.SIMULATED


def _new_rows(record: Path, table: RegisterTable) -> Sequence[RegisterRow]:
    """Return the rows that say something else than what was last read in of their units."""
    if not is_begun(record):
        return table.rows
    last: dict[str, int] = {}
    with open_reader(record) as reader:
        for entry in reader.entries(("unit_registered",)):
            last[entry.unit or ""] = _print_of(entry.facts)
    return [row for row in table.rows if last.get(row.serial) != _print_of(row.facts("").model_dump())]


def _print_of(facts: object) -> int:
    """Return a short stand-in for what a row says, so that a hundred thousand need little room."""
    assert isinstance(facts, dict)  # noqa: S101 - facts of an entry
    return hash(tuple(sorted((k, v) for k, v in facts.items() if k not in ("source", "line") and v is not None)))


def _draft(row: RegisterRow, file: str, operator: str) -> Draft:
    return row.facts(file).draft(unit=row.serial, operator=operator)


async def _append(record: Path, simulated: bool, drafts: Sequence[Draft]) -> None:
    journal = open_journal(record, CHAIN, DayClock(), simulated=simulated)
    try:
        await journal.append(drafts)
    finally:
        await journal.close()
