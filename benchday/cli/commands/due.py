"""due: who is behind, whose term ends soon, who is overdue for service, whom to invite first."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import asdict
from datetime import datetime
from pathlib import Path

from benchday.cli.exits import Exit
from benchday.cli.output import print_document, wrapped
from benchday.cli.reading import opened, source_of
from benchday.domain.clean import clean
from benchday.domain.errors import InputError
from benchday.inputs.register_csv import MARK, SIMULATED, write_rows
from benchday.planning.due import LISTS, Due, DueUnit, due
from benchday.planning.register import KINDS, Register, folded
from benchday.planning.wording import counted

TITLES = {
    "behind": "Behind: a newer release was issued within the support term",
    "after_renewal": "Behind, but only a renewed support term allows a newer release",
    "term_unknown": "Behind, and nobody says when the support term ends",
    "ending": "Support term ends within {days} days",
    "overdue": "Overdue for service",
}
CSV = (
    "list",
    "serial",
    "model",
    "customer",
    "crew",
    "release",
    "newest",
    "issued",
    "term",
    "term_source",
    "days",
    "reason",
)


def due_list(record: Path | None, within_days: int, *, as_json: bool, as_csv: bool) -> int:
    """Show who is due.

    Raises:
        InputError: what was said cannot be used.
        RecordError: there is no record, or it cannot be read.
    """
    if as_json and as_csv:
        raise InputError("either --json or --csv, not both")
    source = source_of(None, record)
    with opened(source) as (reader, _):
        register, simulated = folded(reader.entries(KINDS)), reader.simulated
    found = due(register.units.values(), register.images, _today(register, simulated=simulated), within_days)
    if as_json:
        head = {"record": str(source.record), "simulated": simulated, "images_on": register.images_on}
        print_document("due", head | asdict(found))
    elif as_csv:
        mark = (SIMULATED,) if simulated else ()
        rows = ((*row, *mark) for row in _csv(found))
        write_rows(sys.stdout, (*CSV, MARK) if simulated else CSV, rows, end="\n")
    else:
        for line in _lines(found, register, simulated=simulated):
            print(line)
    return Exit.DONE


def _today(register: Register, *, simulated: bool) -> str:
    """Return the day for which it is asked: a simulated record has its own time."""
    if simulated and register.last_day is not None:
        return register.last_day
    return datetime.now().astimezone().date().isoformat()


def _csv(found: Due) -> Iterator[tuple[str, ...]]:
    for name in LISTS:
        for u in units_of(found, name):
            cells = (u.release, u.newest, u.issued, u.term, u.source, u.days)
            told = ("" if cell is None else str(cell) for cell in cells)
            yield (name, u.serial, u.model, u.customer, u.crew, *told, u.reason)


def units_of(found: Due, name: str) -> tuple[DueUnit, ...]:
    """Return one of the lists."""
    listed: tuple[DueUnit, ...] = getattr(found, name)
    return listed


def _lines(found: Due, register: Register, *, simulated: bool) -> Iterator[str]:
    if simulated:
        yield "SIMULATED: these instruments do not exist."
    images = (
        f"the image list of {register.images_on}" if register.images_on else "no image list: the record has seen none"
    )
    yield f"On {found.on}, {counted(len(register.units), 'unit')}, compared with {images}"
    if found.invite:
        yield "\nWorth inviting, most units first"
    for number, invitation in enumerate(found.invite, start=1):
        name = f"{invitation.customer or 'nobody named'}, {f'crew {invitation.crew}' if invitation.crew else 'no crew'}"
        yield wrapped(clean(f"{name}: {invitation.reason}"), indent="     ", first=f"  {number:>2} ")
    for name, title in TITLES.items():
        units = units_of(found, name)
        yield f"\n{title.format(days=found.within_days)}: {len(units) or 'none'}"
        for u in units:
            whose = ", ".join(w for w in (u.customer, u.crew) if w)
            yield wrapped(
                clean(f"{u.serial} {u.model} ({whose or 'nobody named'}): {u.reason}"), indent="      ", first="  "
            )
