"""targets: which release each unit should get and why, what renewals would buy, what needs a person."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

from benchday.cli import targets_view as view
from benchday.cli.documents_targets import targets_facts
from benchday.cli.exits import Exit
from benchday.cli.known import known_units
from benchday.cli.output import print_document
from benchday.domain.bench import Instruments
from benchday.domain.errors import InputError
from benchday.inputs.day import load_day
from benchday.inputs.register_csv import MARK, SIMULATED, write_rows
from benchday.planning.before_day import before_day
from benchday.record.place import record_folder


def targets(folder: Path, on: str | None, record: Path | None, *, as_json: bool, as_csv: bool) -> int:
    """Show the targets of a day.

    Raises:
        InputError: the files hold mistakes, or what was said cannot be used.
        RecordError: there is a record, and it cannot be read.
    """
    if as_json and as_csv:
        raise InputError("either --json or --csv, not both")
    plan, day = load_day(folder), _day(on)
    place = record_folder(folder, plan.day.record, record)
    known = known_units(plan, place)
    before = before_day(plan, known, day)
    simulated = plan.day.instruments is Instruments.SIMULATED
    if as_json:
        print_document("targets", targets_facts(plan, before, simulated=simulated))
    elif as_csv:
        mark = (SIMULATED,) if simulated else ()
        head = (*view.CSV, MARK) if simulated else view.CSV
        write_rows(sys.stdout, head, ((*row, *mark) for row in view.rows(before)), end="\n")
    else:
        for line in view.lines(plan, before, simulated=simulated, known=known is not None):
            print(line)
    return Exit.HELD if before.stops else Exit.DONE


def _day(on: str | None) -> str | None:
    if on is None:
        return None
    try:
        return date.fromisoformat(on).isoformat()
    except ValueError:
        raise InputError(f"--on {on}: expected a date, year-month-day, like 2026-03-31 (ISO 8601)") from None
