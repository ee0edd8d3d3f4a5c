"""record: copying it while a day runs, checking whether it proves, putting a copy in its place."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import anyio

from benchday.cli.conduct import complain
from benchday.cli.exits import Exit
from benchday.cli.output import print_document, wrapped
from benchday.cli.reading import source_of
from benchday.domain.clean import clean
from benchday.inputs.day import DAY
from benchday.planning.wording import counted, in_bytes
from benchday.record.chain import Head
from benchday.record.checking import CheckedRecord, Found, check_record
from benchday.record.copying import Copied, copy_record
from benchday.record.restoring import Restoring

MOST_SHOWN = 20
"""Lost entries that are listed one by one; ``--json`` has all."""


def copy(dest: Path, day: Path | None, record: Path | None, *, as_json: bool) -> int:
    """Copy the record, or bring a copy up to date."""
    folder = source_of(day, record).record
    with _Looking() as looking:
        copied = copy_record(folder, dest, time.time_ns() // 1000, looking)
    if as_json:
        told = asdict(copied)
        del told["dest"]
        told |= {"ends": _ends(copied.ends), "lacking": list(copied.lacking)}
        print_document("record-copy", {"record": str(folder), "copy_in": str(dest), **told})
    else:
        _print(_copied(folder, copied))
    for line in copied.lacking:
        complain(f"NOT in the copy, because the record does not hold it whole: {line}")
    return Exit.UNPROVED if copied.lacking else Exit.DONE


def _copied(folder: Path, copied: Copied) -> Iterator[str]:
    yield from _simulated(copied.simulated)
    new = {0: "no entry is new", 1: "1 entry is new"}.get(copied.entries_new, f"{copied.entries_new} entries are new")
    yield f"{folder} is copied to {copied.dest}; {new}:"
    yield from _chains(copied.ends)
    files = f"{counted(copied.recordings, 'file')} in its archive, {copied.recordings_new} of them new"
    size = f" ({in_bytes(copied.bytes_new)})" if copied.recordings_new else ""
    yield f"  {files}{size}; every one read back and compared"
    yield "Note the last digest outside both; the copy holds keys and contacts: keep it as you keep the record."


def check(path: Path | None, *, as_json: bool) -> int:
    """Check a record from end to end."""
    folder = _meant(path)
    with _Looking() as looking:
        checked = check_record(folder, looking)
    if as_json:
        print_document("record-check", _check_document(checked))
    else:
        _print(_checked(checked))
    return Exit.UNPROVED if checked.faults else Exit.DONE


def _meant(path: Path | None) -> Path:
    if path is not None and not (path / DAY).is_file():
        return path
    return source_of(path, None).record


def _check_document(checked: CheckedRecord) -> dict[str, Any]:
    return {
        "record": str(checked.folder),
        "copy_of": checked.copy.of if checked.copy else None,
        "copied_wall_us": checked.copy.made_wall_us if checked.copy else None,
        "simulated": checked.simulated,
        "proves": not checked.faults,
        "ends": _ends(checked.ends),
        "recordings": checked.recordings,
        "faults": [_found(f) for f in checked.faults],
        "notices": [_found(f) for f in checked.notices],
    }


def _found(found: Found) -> dict[str, Any]:
    return {"code": found.code, "where": found.where, "text": found.text, "unit": found.unit or None}


def _checked(checked: CheckedRecord) -> Iterator[str]:
    yield from _simulated(checked.simulated)
    what = f"{checked.folder}"
    if checked.copy is not None:
        what += f" (a copy of {checked.copy.of}, made {_when(checked.copy.made_wall_us)})"
    if checked.faults:
        yield f"{what} DOES NOT PROVE:"
        yield from (f"  {fault.text}" for fault in checked.faults)
        yield from _what_to_do(checked)
    else:
        yield f"{what} proves:"
    yield from _chains(checked.ends)
    yield f"  {counted(checked.recordings, 'file')} of the archive whole, as entries name them"
    yield from (f"Worth knowing: {notice.text}" for notice in checked.notices)


def _what_to_do(checked: CheckedRecord) -> Iterator[str]:
    if checked.copy is not None:
        yield f"Use another copy, and make a new one of {checked.copy.of} in another folder."
    elif any(fault.code == "copy" for fault in checked.faults):
        yield "Use another copy, and make a new one in another folder."
    elif all(fault.code == "archive" for fault in checked.faults):
        yield f"Put the files back from a copy: benchday record restore COPY --record {checked.folder}"
        yield "A write that relies on one of them is refused; while the recording is on its unit it is copied anew."
    else:
        yield f"Leave it as it is; put a copy in its place: benchday record restore COPY --record {checked.folder}"


def restore(copy_in: Path, day: Path | None, record: Path | None, *, as_json: bool) -> int:
    """Put a copy in the place of the record."""
    from benchday.wiring_restore import restore_record

    folder = source_of(day, record).record
    with _Looking() as looking:
        made, held = anyio.run(restore_record, copy_in, folder, looking)
    if as_json:
        print_document("record-restore", _restore_document(made, held))
    else:
        _print(_restored(made, held))
    return Exit.DONE


def _restore_document(made: Restoring, held: Sequence[str]) -> dict[str, Any]:
    return {
        "record": str(made.folder),
        "copy_in": str(made.copy.folder),
        "copied_wall_us": made.copy.copy.made_wall_us if made.copy.copy else None,
        "simulated": made.copy.simulated,
        "changed": made.laid_out is not None or bool(made.put_back),
        "aside": str(made.aside) if made.aside else None,
        "ends": _ends(made.copy.ends),
        "lost": [{"bench": b, "entries": made.entries_missing(b)} for b in made.known_ends],
        "missing": [asdict(m) for m in made.missing],
        "recordings_put_back": made.put_back,
        "recordings_kept_besides": made.kept_besides,
        "held": list(held),
    }


def _restored(made: Restoring, held: Sequence[str]) -> Iterator[str]:
    yield from _simulated(made.copy.simulated)
    if made.put_back:
        yield f"{made.folder} is whole but for its archive; put back from {made.copy.folder}:"
        yield from (f"  archive/{name[:2]}/{name}" for name in made.put_back)
        return
    if made.laid_out is None:
        yield f"{made.folder} is whole and holds all that {made.copy.folder} does; nothing was changed."
        return
    copied = _when(made.copy.copy.made_wall_us) if made.copy.copy else "at a time that is not noted"
    yield f"{made.folder} is restored from {made.copy.folder}, a copy made {copied}:"
    yield from _chains(made.copy.ends)
    if made.aside is not None:
        yield f"What stood there is set aside, nothing of it deleted: {made.aside}"
    if made.kept_besides:
        files = counted(made.kept_besides, "file")
        yield f"{files} that only the old archive held whole are kept in the new one too."
    yield from _lost(made)
    yield "Permits given before are void."
    if held:
        yield f"HELD until an operator has looked, because a unit may know more than the copy: {', '.join(held)}."
        yield "Do not switch them off, and leave their cables in."
    yield "Go on with the day by the same command as before; make a new copy soon."


def _lost(made: Restoring) -> Iterator[str]:
    if not any(made.entries_missing(bench) for bench in made.known_ends):
        yield "No entry after the copy is known of; there may have been some."
        return
    for bench in made.known_ends:
        count = made.entries_missing(bench)
        if not count:
            continue
        first = made.copy.ends.get(bench, Head()).seq + 1
        gone = [m for m in made.missing if m.bench == bench]
        yield (
            f"LOST: entries {first} to {first + count - 1} of bench {bench}; "
            f"{len(gone) or 'none'} of these {count} can still be read in the old record{':' if gone else '.'}"
        )
        for m in gone[:MOST_SHOWN]:
            yield f"  entry {m.seq}, {_when(m.wall_us)}: {m.kind}{f', unit {m.unit}' if m.unit else ''}"
        if len(gone) > MOST_SHOWN:
            yield f"  and {len(gone) - MOST_SHOWN} more (all of them with --json)"


def _chains(ends: Mapping[str, Head]) -> Iterator[str]:
    for bench, end in ends.items():
        yield f"  bench {bench}: {end.seq} {'entry' if end.seq == 1 else 'entries'}, the last {end.digest.hex()}"


def _ends(ends: Mapping[str, Head]) -> list[dict[str, Any]]:
    return [{"bench": bench, "seq": end.seq, "digest": end.digest.hex()} for bench, end in ends.items()]


def _simulated(simulated: bool | None) -> Iterator[str]:
    if simulated:
        yield "SIMULATED: a record of instruments that do not exist."


def _when(wall_us: int | None) -> str:
    if wall_us is None:
        return "never whole"
    return f"{datetime.fromtimestamp(wall_us / 1e6, UTC).astimezone():%Y-%m-%d %H:%M:%S%z}"


def _print(lines: Iterator[str]) -> None:
    for line in lines:
        indent = "    " if line.startswith("  ") else "  "
        print(wrapped(clean(line.strip()), indent, indent[2:]))


class _Looking:
    """Tells on a terminal how far the reading of recordings is; a big archive takes a while."""

    def __init__(self) -> None:
        self._shown = sys.stderr.isatty()
        self._last = 0.0

    def __enter__(self) -> _Looking:
        return self

    def __call__(self, done: int, of: int) -> None:
        now = time.monotonic()
        if self._shown and (now - self._last > 0.2 or done == of):
            self._last = now
            sys.stderr.write(f"\rrecordings read: {done} of {of} ")
            sys.stderr.flush()

    def __exit__(self, *_: object) -> None:
        if self._shown and self._last:
            sys.stderr.write("\r" + " " * 50 + "\r")
            sys.stderr.flush()
