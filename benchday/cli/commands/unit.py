"""unit: a unit's log, readable by an auditor who was not there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from benchday.cli.exits import Exit
from benchday.cli.output import print_document, wrapped
from benchday.cli.reading import opened, source_of
from benchday.domain.entries import Entry
from benchday.domain.errors import InputError
from benchday.domain.telling.log import about, tell
from benchday.domain.telling.told import Log, Told
from benchday.inputs.outcome import nearest
from benchday.record.reading import RecordReader


def unit(serial: str, day: Path | None, record: Path | None, *, as_json: bool) -> int:
    """Tell a unit's log.

    Raises:
        InputError: the record knows no such unit.
    """
    source = source_of(day, record)
    with opened(source) as (reader, benches):
        chains = {bench: reader.read(bench) for bench in benches}
        told = {bench: about(entries, serial) for bench, entries in chains.items()}
        told = {bench: entries for bench, entries in told.items() if entries}
        if not told:
            raise InputError(_unknown(serial, source.record, chains.values()))
        logs = {b: tell(e, _Words(reader), serial, simulated=reader.simulated) for b, e in told.items()}
        if as_json:
            print_document("unit", _document(serial, source.record, reader, told, logs))
        else:
            for bench, log in logs.items():
                _print(bench, log)
    return Exit.DONE


class _Words:
    """Finds personal texts by the reference that an entry carries."""

    def __init__(self, reader: RecordReader) -> None:
        self._reader = reader

    def __call__(self, reference: str) -> str | None:
        return self._reader.words(reference.split(":", 1)[0])


def _unknown(serial: str, record: Path, chains: Iterable[Sequence[Entry]]) -> str:
    known = {e.unit for entries in chains for e in entries if e.unit}
    near = nearest(serial, known)
    hint = f"; did you mean {near}?" if near else ""
    return f"the record at {record} knows no unit {serial}{hint}"


def _document(
    serial: str,
    record: Path,
    reader: RecordReader,
    told: dict[str, tuple[Entry, ...]],
    logs: dict[str, Log],
) -> dict[str, object]:
    return {
        "serial": serial,
        "simulated": reader.simulated,
        "record": str(record),
        "summary": [{"bench": b, "label": label, "value": v} for b, log in logs.items() for label, v in log.head],
        "entries": [_entry(e, reader) for entries in told.values() for e in entries if e.unit == serial],
        "days": [_entry(e, reader) for entries in told.values() for e in entries if e.unit != serial],
    }


def _entry(entry: Entry, reader: RecordReader) -> dict[str, object]:
    return {
        "bench": entry.bench,
        "seq": entry.seq,
        "kind": entry.kind,
        "v": entry.v,
        "at_us": entry.at_us,
        "wall_us": entry.wall_us,
        "unit": entry.unit,
        "station": entry.station,
        "operator": entry.operator,
        "facts": entry.facts,
        "personal": _personal(entry, reader),
        "body": entry.body.decode(),
        "prev": entry.prev.hex(),
        "digest": entry.digest.hex(),
    }


def _personal(entry: Entry, reader: RecordReader) -> dict[str, str | None]:
    """Return the personal texts that the entry refers to, by the name of the fact; null where one was erased."""
    inner = entry.facts.get("checked_in")
    facts = {**entry.facts, **(inner if isinstance(inner, dict) else {})}
    words = _Words(reader)
    found = {name: facts[name] for name in facts if name.endswith("_ref") and facts[name]}
    if entry.kind == "unit_ready" and entry.facts["words"]:
        found["words"] = entry.facts["words"]
    return {name: words(str(reference)) for name, reference in found.items()}


def _print(bench: str, log: Log) -> None:
    if log.simulated:
        print("SIMULATED: these instruments do not exist; nothing here happened to a real one.\n")
    wide = max((len(label) for label, _ in log.head), default=0)
    for label, value in (*log.head, ("bench", bench)):
        print(wrapped(value, indent=" " * (wide + 2), first=f"{label:<{wide}}  "))
    for chapter in log.chapters:
        print(f"\n{chapter.title}")
        for line in chapter.lines:
            _print_line(line)


def _print_line(line: Told) -> None:
    where = [line.operator, f"station {line.station}" if line.station else None, line.place, f"entry {line.seq}"]
    mark = f"{line.mark}: " if line.mark and not line.text.startswith(line.mark) else ""
    text = f"{mark}{line.text}  [{', '.join(w for w in where if w)}]"
    print(wrapped(text, indent=" " * 10, first=f"  {line.when}  "))
    for detail in line.details:
        print(wrapped(detail, indent=" " * 14, first=" " * 12))
