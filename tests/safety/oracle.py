"""What must hold of a day, whatever happened to the program: judged from the files alone.

Nothing of the program is used here: the journal's table is read by plain SQL, the archive and the instruments' own
files by name.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_AGAIN = {"identify", "unit_held"}
_WAY: dict[str, set[str]] = {
    "": {"unit_expected", "unit_walked_in"},
    "unit_expected": {"unit_arrived", "unit_absent"},
    "unit_absent": {"unit_arrived"},
    "waiting": {"connect", "charge_begun", "unit_held"},
    "charge_begun": {"charge_ended", "unit_held"},
    "connect": {"identify", "unit_held"},
    "identify": {"check", "verify"} | _AGAIN,
    "check": {"preserve", "verify", "unit_sent_off"} | _AGAIN,
    "preserve": {"confirm"} | _AGAIN,
    "confirm": {"check", "write", "unit_sent_off"} | _AGAIN,
    "write": {"restart", "unit_held"},
    "restart": {"verify"} | _AGAIN,
    "verify": {"check", "last look"} | _AGAIN,
    "last look": {"unit_ready"} | _AGAIN,
    "unit_ready": {"unit_handed_back", "unit_held"},
    "unit_handed_back": set(),
    "unit_held": {"unit_lifted", "identify"},
}
"""What may follow what on a unit's way, written down a second time and by hand."""
_WAITS = {"unit_arrived", "unit_walked_in", "unit_lifted", "unit_sent_off", "charge_ended"}
_MOVES = set().union(*_WAY.values())


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the journal's table."""

    seq: int
    wall_us: int
    kind: str
    unit: str | None
    body: bytes
    prev: bytes
    digest: bytes

    @property
    def facts(self) -> dict[str, Any]:
        """The facts in the body."""
        told: dict[str, Any] = json.loads(self.body)["facts"]
        return told


def judge(folder: Path, *, finished: bool = True) -> list[str]:
    """Return what does not hold of a day.

    Args:
        folder: the day's.
        finished: the last run came to its end, so that no unit may be left on its way.
    """
    rows = rows_of(folder)
    faults = [*_chain(rows), *_acknowledged(folder, rows), *_acts(rows)]
    for serial in sorted({r.unit for r in rows if r.kind == "unit_expected" and r.unit}):
        mine = [r for r in rows if r.unit == serial]
        log = _log(folder / "instruments" / serial / "log.jsonl")
        faults += [f"{serial}: {f}" for f in (*_way(mine), *_writes(mine, log), *_erased(folder, mine, log))]
        if finished:
            faults += [f"{serial}: {f}" for f in _end(mine, folder / "instruments" / serial / "state.json")]
    return faults


def rows_of(folder: Path) -> list[Row]:
    """Read the entries of a day's record."""
    path = folder / "record" / "journal.db"
    if not path.exists():
        return []
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
        told = database.execute("SELECT seq, wall_us, kind, unit, body, prev, digest FROM entry ORDER BY seq")
        return [Row(*row) for row in told]


def _log(path: Path) -> list[dict[str, Any]]:
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    # The instrument goes on while this is read: a last line without its end is still being written.
    return [json.loads(line) for line in text.splitlines(keepends=True) if line.endswith("\n") and line.strip()]


def _chain(rows: list[Row]) -> Iterator[str]:
    prev = bytes(32)
    for number, row in enumerate(rows, 1):
        if row.seq != number:
            yield f"entry {number} is missing"
            return
        if row.prev != prev or row.digest != hashlib.sha256(prev + row.body).digest():
            yield f"the chain is broken at entry {number}"
        prev = row.digest


def _acknowledged(folder: Path, rows: list[Row]) -> Iterator[str]:
    kept = {row.seq: row.digest.hex() for row in rows}
    path = folder / "acknowledged.txt"
    for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
        seq, digest = line.split()
        if kept.get(int(seq)) != digest:
            yield f"entry {seq} was acknowledged and is lost"


def _acts(rows: list[Row]) -> Iterator[str]:
    """No act is spent twice; each was given by the same run of the program, and not voided before."""
    given: set[str] = set()
    spent: set[tuple[str, int]] = set()
    for row in rows:
        if row.kind == "program_started":
            given.clear()
        elif row.kind == "permit_given":
            given.add(row.facts["id"])
        elif row.kind == "permit_voided":
            given.discard(row.facts["id"])
        elif row.kind == "act_spent":
            act = (row.facts["permit"], row.facts["act"])
            if act in spent:
                yield f"entry {row.seq} spends an act a second time"
            if act[0] not in given:
                yield f"entry {row.seq} spends an act of a permit that does not hold"
            spent.add(act)


def _way(rows: list[Row]) -> Iterator[str]:
    here = ""
    for row in rows:
        move = row.facts["step"] if row.kind == "step_begun" else row.kind
        if move not in _MOVES:
            continue
        if move not in _WAY[here]:
            yield f"entry {row.seq}: {move} after {here or 'nothing'}"
        here = "waiting" if move in _WAITS else move


def _writes(rows: list[Row], log: list[dict[str, Any]]) -> Iterator[str]:
    """Each image that began to go into the unit has an intent of its own, recorded before."""
    spent = [r for r in rows if r.kind == "act_spent"]
    begun = [line for line in log if line["what"] == "image_begin"]
    used: set[int] = set()
    for line in begun:
        before = [r for r in spent if r.wall_us <= line["at_us"]]
        if not before:
            yield f"an image began at {line['at_us']} with no act spent before"
        elif before[-1].seq in used:
            yield f"two images began under the act of entry {before[-1].seq}"
        else:
            used.add(before[-1].seq)
            yield from _same_image(before[-1], line, log)
    yield from _ended_truly(rows, log)


def _same_image(act: Row, begun: dict[str, Any], log: list[dict[str, Any]]) -> Iterator[str]:
    if begun["bytes"] != act.facts["bytes"]:
        yield f"an image of {begun['bytes']} bytes began under an act for {act.facts['bytes']}"
    ends = [x for x in log if x["what"] == "image_end" and x["at_us"] >= begun["at_us"]]
    if ends and ends[0]["outcome"] == "whole" and ends[0]["sha256"] != act.facts["digest"]:
        yield f"another image than the act of entry {act.seq} names went in"


def _ended_truly(rows: list[Row], log: list[dict[str, Any]]) -> Iterator[str]:
    whole = [x["sha256"] for x in log if x["what"] == "image_end" and x["outcome"] == "whole"]
    for row in rows:
        if row.kind == "act_ended" and row.facts["outcome"] == "whole" and row.facts["sha256"] not in whole:
            yield f"entry {row.seq} says that an image went in whole, the unit does not"


def _erased(folder: Path, rows: list[Row], log: list[dict[str, Any]]) -> Iterator[str]:
    """What a write erased is whole in the archive and was recorded there before, or was let go before."""
    for line in log:
        for recording in line.get("recordings", ()) if line["what"] == "erased" else ():
            before = [r for r in rows if r.wall_us <= line["at_us"]]
            let_go = [gone["name"] for r in before if r.kind == "recordings_let_go" for gone in r.facts["recordings"]]
            told = [r.facts["sha256"] for r in before if r.kind == "recording_preserved"]
            if recording["name"] in let_go:
                continue
            if recording["sha256"] not in told:
                yield f"{recording['name']} was erased and not recorded as preserved before"
            if not _kept(folder, recording["sha256"]):
                yield f"{recording['name']} was erased and is not whole in the archive"


def _kept(folder: Path, sha256: str) -> bool:
    path = folder / "record" / "archive" / sha256[:2] / sha256
    return path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == sha256


def _end(rows: list[Row], state: Path) -> Iterator[str]:
    moves = [r.kind for r in rows if r.kind in _MOVES]
    if moves[-1] != "unit_handed_back":
        yield f"it ended as {moves[-1]}"
        return
    targets = [r.facts["release"] for r in rows if r.kind == "target_set"]
    runs = json.loads(state.read_text(encoding="utf-8"))
    if targets and targets[-1] is not None and (runs["release"], runs["mode"]) != (targets[-1], "run"):
        yield f"it was handed back and runs {runs['release'] or 'nothing'}, its target is {targets[-1]}"
