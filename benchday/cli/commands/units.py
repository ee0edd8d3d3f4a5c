"""units: the shop's register, computed from the whole record; a list of units read in, or written."""

from __future__ import annotations

import os
import sys
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path

from benchday.cli import register_view as view
from benchday.cli.exits import Exit
from benchday.cli.importing import Imported, import_list
from benchday.cli.output import wrapped
from benchday.cli.reading import opened, source_of
from benchday.domain.clean import clean
from benchday.domain.errors import InputError
from benchday.inputs.register_csv import write_rows
from benchday.planning.register import KINDS, Registered, folded
from benchday.planning.wording import counted


@dataclass(frozen=True, slots=True)
class Asked:
    """What was said on the command line."""

    record: Path | None = None
    as_json: bool = False
    as_csv: bool = False
    read_in: Path | None = None
    operator: str | None = None
    export: Path | None = None


@dataclass(frozen=True, slots=True)
class _Shown:
    """What there is to show."""

    record: Path
    simulated: bool
    units: list[Registered]
    imported: Imported | None
    exported: int | None
    """Rows written."""


def units(asked: Asked) -> int:
    """Show the register, after reading a list in, and write it to a file.

    Raises:
        InputError: what was said cannot be used, or the list holds mistakes.
        RecordError: there is no record, or another program writes it.
    """
    if asked.as_json and asked.as_csv:
        raise InputError("either --json or --csv, not both")
    if asked.operator is not None and asked.read_in is None:
        raise InputError("--operator says who reads a list in; name the list with --import FILE")
    source = source_of(None, asked.record)
    named = asked.record is not None
    imported = import_list(source, named, asked.read_in, asked.operator) if asked.read_in is not None else None
    with opened(source) as (reader, _):
        found = view.sorted_units(folded(reader.entries(KINDS)).units)
        simulated = reader.simulated
    written = _export(asked.export, found, simulated=simulated) if asked.export is not None else None
    _tell(_Shown(source.record, simulated, found, imported, written), asked)
    return Exit.DONE


def _export(path: Path, units: list[Registered], *, simulated: bool) -> int:
    """Write the register whole or not at all; return how many rows."""
    try:
        fd, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        try:
            with os.fdopen(fd, "w", encoding="utf-8", newline="") as out:
                rows = (view.exported(unit, simulated=simulated) for unit in units)
                count = write_rows(out, view.export_head(simulated=simulated), rows)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror or error}") from error
    return count


def _tell(shown: _Shown, asked: Asked) -> None:
    if asked.as_json:
        _print_document(shown, asked)
    elif asked.as_csv:
        head = (*view.export_head(simulated=shown.simulated), *view.MORE)
        rows = ((*view.exported(u, simulated=shown.simulated), *view.more(u)) for u in shown.units)
        write_rows(sys.stdout, head, rows, end="\n")
    else:
        _print(shown, asked)


def _print_document(shown: _Shown, asked: Asked) -> None:
    head = {
        "record": str(shown.record),
        "simulated": shown.simulated,
        "imported": asdict(shown.imported) if shown.imported is not None else None,
        "exported": {"file": str(asked.export), "rows": shown.exported} if shown.exported is not None else None,
    }
    for text in view.document_lines("units", head, "units", map(view.part, shown.units)):
        sys.stdout.write(text)


def _print(shown: _Shown, asked: Asked) -> None:
    if shown.simulated:
        print("SIMULATED: these instruments do not exist.")
    if (read := shown.imported) is not None:
        print(clean(f"{read.file}: read as {read.recognised}"))
        for notice in read.notices:
            print(wrapped(clean(f"note: {notice}"), indent="  "))
        same = (
            f"; {counted(read.rows - read.added, 'row')} said what was read in before" if read.added < read.rows else ""
        )
        print(f"{counted(read.added, 'unit')} read in{same}")
    if shown.exported is not None:
        print(clean(f"{counted(shown.exported, 'unit')} written to {asked.export}"))
    if shown.imported is None and shown.exported is None:
        for line in view.table(view.HEADS, shown.units):
            print(line)
        print(f"{counted(len(shown.units), 'unit')} in {clean(str(shown.record))}")
