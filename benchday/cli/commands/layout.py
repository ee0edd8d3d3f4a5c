"""layout: what to lay out for the day, on the terminal and as a page to print."""

from __future__ import annotations

import shutil
from pathlib import Path

from benchday.cli.documents_layout import layout_facts
from benchday.cli.exits import Exit
from benchday.cli.known import known_units, of_its_sort
from benchday.cli.layout_lines import layout_lines
from benchday.cli.layout_page import MADE_BY, layout_page
from benchday.cli.output import print_document
from benchday.cli.writing import mark_of, write_file
from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.planning.before_day import before_day
from benchday.planning.disk_room import RECORDINGS, Earlier, earlier_recordings
from benchday.planning.layout import layout_of
from benchday.record.place import record_folder

PAGE = "layout.html"


def layout(folder: Path, html: Path | None, record: Path | None, *, as_json: bool) -> int:
    """Say what to lay out, and write the page to print.

    Raises:
        InputError: the files hold mistakes, or the page cannot be written there.
        RecordError: there is a record, and it cannot be read.
    """
    plan = load_day(folder)
    place = record_folder(folder, plan.day.record, record)
    aims = before_day(plan, known_units(plan, place)).found
    laid = layout_of(plan, aims, _earlier(plan, place), _free_bytes(place))

    # A program that reads the document wants no file that it did not name.
    page = html if html is not None or as_json else folder / PAGE
    if page is not None:
        write_file(page, layout_page(plan, laid), option="--html", what="page", ours=mark_of(MADE_BY))
    if as_json:
        print_document("layout", layout_facts(folder, place, page, plan, laid))
    else:
        for line in layout_lines(plan, laid, page):
            print(line)
    return Exit.HELD if laid.stops else Exit.DONE


def _earlier(plan: DayPlan, record: Path) -> Earlier:
    """Return what earlier days of the record say of recordings; nothing if there is no record yet."""
    with of_its_sort(plan, record) as reader:
        return earlier_recordings(reader.entries(RECORDINGS)) if reader is not None else Earlier()


def _free_bytes(record: Path) -> int | None:
    """Return the free room of the disk on which the record is or will be; None if it cannot be read."""
    absolute = record.absolute()
    there = next((p for p in (absolute, *absolute.parents) if p.exists()), None)
    try:
        return shutil.disk_usage(there).free if there is not None else None
    except OSError:
        return None
