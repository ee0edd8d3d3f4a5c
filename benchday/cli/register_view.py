"""The register as rows: for the screen, as CSV, as parts of a document."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from benchday.cli.output import json_text, width
from benchday.domain.clean import clean, plain_json
from benchday.inputs.register_csv import COLUMNS, MARK, SIMULATED
from benchday.planning.register import Registered
from benchday.planning.wording import counted, in_bytes

Row = tuple[str, ...]
HEADS = ("serial", "model", "customer", "crew", "release", "since", "last service", "term", "recordings", "battery")
MORE = (
    "release_on", "term_source", "recordings", "recordings_bytes", "days_served", "holds",
    "full_mwh", "capacity_permille_a_year",
)  # fmt: skip
"""Columns of the whole table besides those that can be read in again."""


def sorted_units(units: Mapping[str, Registered]) -> list[Registered]:
    """Return the units in the order in which they are shown."""
    return sorted(units.values(), key=lambda u: (u.customer, u.crew, u.model, u.serial))


def shown(unit: Registered) -> Row:
    """Return a unit as a row of the screen."""
    term, source = unit.term
    kept = f"{unit.recordings} ({in_bytes(unit.recordings_bytes)})" if unit.recordings else "-"
    return (
        unit.serial,
        unit.model,
        unit.customer or "-",
        unit.crew or "-",
        unit.release or "-",
        unit.release_on or "-",
        unit.last_service or "-",
        f"{term} ({source})" if term else "-",
        kept,
        battery(unit),
    )


def battery(unit: Registered) -> str:
    """Return a unit's battery trend in words."""
    b = unit.battery
    if b is None or not b.readings:
        return "-"
    if b.permille_a_year is None:
        return f"{b.last_mwh} mWh"
    sign = "+" if b.permille_a_year > 0 else ""
    over = f"{counted(b.readings, 'reading')} in {counted(b.over_days, 'day')}"
    return f"{b.last_mwh} mWh, {sign}{b.permille_a_year / 10:.1f} % a year ({over})"


def exported(unit: Registered, *, simulated: bool) -> Row:
    """Return a unit as a row that can be read in again."""
    term, _ = unit.term
    cells = (unit.customer, unit.crew, unit.role, unit.release, term, unit.last_service, unit.made)
    mark = (SIMULATED,) if simulated else ()
    return (unit.serial, unit.model, *(cell or "" for cell in cells), *mark)


def export_head(*, simulated: bool) -> Row:
    """Return the first line of such rows."""
    return (*COLUMNS, MARK) if simulated else COLUMNS


def more(unit: Registered) -> Row:
    """Return what the whole table says besides."""
    b = unit.battery
    full = b.last_mwh if b is not None and b.readings else None
    cells = (
        *(unit.release_on, unit.term[1], unit.recordings, unit.recordings_bytes, unit.days_served, unit.holds),
        *(full, b.permille_a_year if b is not None else None),
    )
    return tuple("" if cell is None else str(cell) for cell in cells)


def part(unit: Registered) -> dict[str, Any]:
    """Return a unit as it stands in the document."""
    term, source = unit.term
    b = unit.battery if unit.battery is not None and unit.battery.readings else None
    return {
        "serial": unit.serial,
        "model": unit.model,
        "customer": unit.customer,
        "crew": unit.crew,
        "role": unit.role,
        "hardware": unit.hardware,
        "release": unit.release,
        "release_on": unit.release_on,
        "last_service": unit.last_service,
        "term": term,
        "term_source": source.value if source is not None else None,
        "made": unit.made,
        "recordings": unit.recordings,
        "recordings_bytes": unit.recordings_bytes,
        "days_served": unit.days_served,
        "holds": unit.holds,
        "full_mwh": b.last_mwh if b else None,
        "full_before_mwh": b.before_mwh if b else None,
        "full_first_mwh": b.first_mwh if b else None,
        "readings": b.readings if b else 0,
        "readings_over_days": b.over_days if b else 0,
        "capacity_permille_a_year": b.permille_a_year if b else None,
        "arrived_percent": unit.battery.arrived_percent if unit.battery else None,
    }


def table(heads: Row, units: Sequence[Registered], row: Callable[[Registered], Row] = shown) -> Iterator[str]:
    """Yield the lines of a table that fit the terminal; the units are gone through twice, so that no rows are kept."""
    wide = [len(head) for head in heads]
    for unit in units:
        wide = [max(w, len(cell)) for w, cell in zip(wide, row(unit), strict=True)]
    columns = width()
    yield _line(heads, wide, columns)
    for unit in units:
        yield _line(row(unit), wide, columns)


def _line(cells: Row, wide: list[int], columns: int) -> str:
    text = clean("  ".join(f"{cell:<{w}}" for cell, w in zip(cells, wide, strict=True))).rstrip()
    return text if len(text) <= columns else text[: columns - 1] + "…"


def document_lines(
    command: str, head: Mapping[str, Any], name: str, parts: Iterable[Mapping[str, Any]]
) -> Iterator[str]:
    """Yield the text of a document whose last value is a long list, a part at a time."""
    whole = json_text({"benchday": f"{command}/1", **head})
    yield f'{whole.removesuffix("}").rstrip()},\n  "{name}": ['
    before = "\n    "
    for facts in parts:
        yield before + plain_json(json.dumps(facts, ensure_ascii=False))
        before = ",\n    "
    yield "\n  ]\n}\n"
