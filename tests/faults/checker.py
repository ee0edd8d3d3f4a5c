"""Judge a simulated day from its files alone: ``python tests/faults/checker.py DIR [--finished]``; exit 0 or 1.

Read are the journal's table, the archive's folder, and each instrument's own state.json and log.jsonl; nothing of the
program, nor of its tests, is used, and the rules stand here a second time, by hand. Each violation is told with its
place on a line of its own.

Entries and instruments are put in order by the clock of the one computer on which both were written.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

Facts = dict[str, Any]
COLUMNS = ("bench", "seq", "at_us", "wall_us", "mono_us", "kind", "v", "unit", "station", "operator")
WRITE = "write image"

WAY: dict[str, set[str]] = {
    "": {"unit_expected", "unit_walked_in"},
    "unit_expected": {"unit_arrived", "unit_absent"},
    "unit_absent": {"unit_arrived"},
    "waiting": {"connect", "charge_begun"},
    "charge_begun": {"charge_ended"},
    "connect": {"identify"},
    "identify": {"check", "verify", "identify"},
    "check": {"preserve", "verify", "unit_sent_off", "identify"},
    "preserve": {"confirm", "identify"},
    "confirm": {"check", "write", "unit_sent_off", "identify"},
    "write": {"restart"},
    "restart": {"verify", "identify"},
    "verify": {"check", "last look", "identify"},
    "last look": {"unit_ready", "identify"},
    "unit_ready": {"unit_handed_back", "unit_recalled"},
    "unit_handed_back": set(),
    "unit_held": {"unit_lifted", "identify"},
}
"""What may follow what on a unit's way; it may be held wherever it is present and not held already."""
NOT_THERE = ("", "unit_expected", "unit_absent", "unit_handed_back", "unit_held")
WAITS = {"unit_arrived", "unit_walked_in", "unit_lifted", "unit_sent_off", "charge_ended", "unit_recalled"}
MOVES = set().union(*WAY.values()) | {"unit_held"}
AT_AN_END = {"unit_handed_back", "unit_held", "unit_absent", "waiting", "unit_expected"}
DONE = {"unit_ready": "ready", "unit_handed_back": "handed back"}


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the journal's table."""

    columns: tuple[Any, ...]
    body: bytes
    prev: bytes
    digest: bytes
    told: Facts = field(repr=False)
    """The body, read."""

    def __getattr__(self, name: str) -> Any:
        """Give a column by its name."""
        if name not in COLUMNS:
            raise AttributeError(name)
        return self.columns[COLUMNS.index(name)]

    @property
    def facts(self) -> Facts:
        """The facts in the body."""
        facts = self.told.get("facts")
        return facts if isinstance(facts, dict) else {}

    def __str__(self) -> str:
        """Tell the place."""
        return f"entry {self.bench}/{self.seq}"


def violations(folder: Path, *, finished: bool = False) -> list[str]:
    """Return what does not hold of a day, each with its place.

    Args:
        folder: the day's, with record/ and instruments/ in it.
        finished: the last run came to its end, so that no unit may be left on its way.
    """
    rows = rows_of(folder)
    found = [*chains(rows)]
    for bench in sorted({r.bench for r in rows}):
        found += acts([r for r in rows if r.bench == bench])
    home = folder / "instruments"
    serials = {r.unit for r in rows if r.kind in ("unit_expected", "unit_walked_in")}
    serials |= {path.parent.name for path in home.glob("*/log.jsonl")}
    for serial in sorted(serials):
        mine = [r for r in rows if r.unit == serial or r.kind == "day_begun"]
        log, state = log_of(home / serial / "log.jsonl"), state_of(home / serial / "state.json")
        told = (*way(mine, finished=finished), *images(mine, log), *erased(folder, mine, log), *done(mine, state))
        found += [f"unit {serial}, {words}" for words in told]
    return found


def rows_of(folder: Path) -> list[Row]:
    """Read the entries of a day's record."""
    path = folder / "record" / "journal.db"
    if not path.exists():
        return []
    query = f"SELECT {', '.join(COLUMNS)}, body, prev, digest FROM entry ORDER BY bench, seq"  # noqa: S608 - our own
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
        # A program that was killed while it made the file has left no table yet.
        if not database.execute("SELECT 1 FROM sqlite_master WHERE name = 'entry'").fetchone():
            return []
        return [_row(told) for told in database.execute(query)]


def _row(told: tuple[Any, ...]) -> Row:
    body, prev, digest = told[-3:]
    try:
        read = json.loads(body)
    except ValueError:
        read = {}
    return Row(told[:-3], bytes(body), bytes(prev), bytes(digest), read if isinstance(read, dict) else {})


def log_of(path: Path) -> list[Facts]:
    """Read an instrument's log; a line that its end as a process cut off tells of nothing that had happened yet."""
    lines = path.read_bytes().splitlines(keepends=True) if path.exists() else []
    read = []
    for line in lines:
        try:
            read.append(json.loads(line) if line.endswith(b"\n") else None)
        except ValueError:
            continue
    return [line for line in read if isinstance(line, dict)]


def state_of(path: Path) -> Facts | None:
    """Read an instrument's state; None if it has none."""
    state: Facts | None = json.loads(path.read_text(encoding="utf-8")) if path.exists() else None
    return state


def chains(rows: list[Row]) -> Iterator[str]:
    """Each bench's chain is whole, and what stands in the columns is what was hashed."""
    before: dict[str, tuple[int, bytes]] = {}
    for row in rows:
        seq, prev = before.get(row.bench, (0, bytes(32)))
        if row.seq != seq + 1:
            yield f"{row}: entries {seq + 1} to {row.seq - 1} are missing"
        elif row.prev != prev:
            yield f"{row}: the chain is broken, it does not point at the entry before"
        if row.digest != hashlib.sha256(row.prev + row.body).digest():
            yield f"{row}: the chain is broken, the digest is not that of its body"
        before[row.bench] = (row.seq, row.digest)
        if canonical(row.told) != row.body:
            yield f"{row}: the body is not canonical"
        for name in COLUMNS:
            if getattr(row, name) != row.told.get(name):
                yield f"{row}: column {name} is {getattr(row, name)!r}, the body says {row.told.get(name)!r}"


def canonical(value: object) -> bytes:
    """Write as RFC 8785 does, for what holds no floating-point number and no key beyond the basic plane."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


@dataclass(slots=True)
class Desk:
    """What holds of permits while a bench's entries are read in order."""

    given: dict[str, Row] = field(default_factory=dict)
    """By this run of the program, and not voided."""
    spent: set[tuple[str, int]] = field(default_factory=set)
    open: dict[str, Row] = field(default_factory=dict)
    """Unit -> its act that has not ended, of this run."""
    stopped: set[tuple[str, str]] = field(default_factory=set)
    asked: dict[str, Facts] = field(default_factory=dict)
    confirmed: list[tuple[str, str]] = field(default_factory=list)
    """Unit and operator of each confirmation that no permit was given for yet."""


def acts(rows: list[Row]) -> Iterator[str]:
    """Permits come of confirmations, die with the program, and allow each act once; a stopped line has none."""
    desk = Desk()
    for row in rows:
        facts = row.facts
        if row.kind == "program_started":
            desk.given.clear()
            desk.open.clear()
            desk.confirmed.clear()
        elif row.kind == "item_asked":
            desk.asked[facts["item"]["id"]] = facts["item"]
        elif row.kind == "item_answered":
            item = desk.asked.get(facts["id"], {})
            if item.get("kind") == "confirm" and facts["value"].get("answer") == "write":
                desk.confirmed.append((str(row.unit), str(row.operator)))
        elif row.kind == "permit_given":
            yield from _given(desk, row)
        elif row.kind == "permit_voided":
            desk.given.pop(facts["id"], None)
        elif row.kind == "unit_held":
            desk.given = {k: r for k, r in desk.given.items() if r.unit != row.unit}
        elif row.kind == "line_stopped":
            desk.stopped.add((facts["model"], facts["release"]))
        elif row.kind == "line_lifted":
            desk.stopped.discard((facts["model"], facts["release"]))
        elif row.kind == "act_spent":
            yield from _spent(desk, row)
        elif row.kind == "act_ended":
            desk.open.pop(str(row.unit), None)


def _given(desk: Desk, row: Row) -> Iterator[str]:
    permit, name = row.facts["permit"], row.facts["id"]
    if hashlib.sha256(canonical(permit)).hexdigest() != name:
        yield f"{row}: the permit is not what its name says"
    if permit["unit"] != row.unit:
        yield f"{row}: the permit is for unit {permit['unit']}, the entry for {row.unit}"
    confirmed = (permit["unit"], permit["operator"])
    if confirmed in desk.confirmed:
        desk.confirmed.remove(confirmed)
    else:
        yield f"{row}: a permit that {permit['operator']} did not confirm since the program was started"
    desk.given[name] = row


def _spent(desk: Desk, row: Row) -> Iterator[str]:
    facts = row.facts
    act, permit_row = (facts["permit"], facts["act"]), desk.given.get(facts["permit"])
    if act in desk.spent:
        yield f"{row}: an act is spent a second time"
    desk.spent.add(act)
    if row.unit in desk.open:
        yield f"{row}: an act is spent while that of {desk.open[row.unit]} has not ended"
    desk.open[str(row.unit)] = row
    if permit_row is None:
        yield f"{row}: an act is spent of a permit that does not hold"
        return
    permit = permit_row.facts["permit"]
    named = permit["acts"][facts["act"]] if facts["act"] < len(permit["acts"]) else {}
    if {n: facts.get(n) for n in ("verb", "digest", "bytes", "release")} != named:
        yield f"{row}: the act is not the one that {permit_row} permits"
    if permit["unit"] != row.unit:
        yield f"{row}: an act on unit {row.unit} is spent of a permit for {permit['unit']}"
    if row.mono_us > permit["expires_mono_us"]:
        yield f"{row}: an act is spent of a permit that has expired"
    if (permit["model"], facts["release"] or "") in desk.stopped:
        yield f"{row}: an act is spent while the line of {permit['model']} {facts['release']} is stopped"


def way(rows: list[Row], *, finished: bool) -> Iterator[str]:
    """A unit's entries tell a story that can have happened; at the end of a day it is not left on its way."""
    here, last = "", None
    for row in rows:
        if row.kind == "day_begun":
            here = "" if here in AT_AN_END else here
            continue
        move = row.facts.get("step") if row.kind == "step_begun" else row.kind
        if move not in MOVES:
            continue
        held = move == "unit_held" and here not in NOT_THERE
        if not held and move not in WAY[here]:
            yield f"{row}: {move} after {here or 'nothing'}"
        here, last = ("waiting" if move in WAITS else move), row
        if move == "unit_held" and not (row.facts["reason"] and row.facts["lifts"]):
            yield f"{row}: held without a reason, or without what would lift it"
    if finished and last is not None and here not in AT_AN_END:
        yield f"{last}: the day has ended, and the unit is left in {here}"


def images(rows: list[Row], log: list[Facts]) -> Iterator[str]:
    """Each image that began to go in has an intent of its own, recorded before, for these bytes and this digest."""
    spent = [r for r in rows if r.kind == "act_spent" and r.facts["verb"] == WRITE]
    ends = [line for line in log if line["what"] == "image_end"]
    used: set[int] = set()
    for line in (line for line in log if line["what"] == "image_begin"):
        before = [r for r in spent if r.wall_us <= line["at_us"]]
        if not before:
            yield f"log at {line['at_us']}: an image began with no act spent before"
            continue
        act = before[-1]
        if act.seq in used:
            yield f"log at {line['at_us']}: a second image began under the act of {act}"
        used.add(act.seq)
        if line["bytes"] != act.facts["bytes"]:
            yield f"log at {line['at_us']}: an image of {line['bytes']} bytes began, {act} is for {act.facts['bytes']}"
    for line in ends:
        before = [r for r in spent if r.wall_us <= line["at_us"]]
        if line["outcome"] == "whole" and (not before or before[-1].facts["digest"] != line["sha256"]):
            yield f"log at {line['at_us']}: another image than was permitted went in"
    yield from _went_in(rows, [line for line in ends if line["outcome"] == "whole"])


def _went_in(rows: list[Row], whole: list[Facts]) -> Iterator[str]:
    """A release that was written and verified went in whole, by the unit's own word; and no other is verified."""
    act: Row | None = None
    written: Row | None = None
    for row in rows:
        if row.kind == "act_spent" and row.facts["verb"] == WRITE:
            act = row
        elif row.kind == "act_ended" and act is not None and row.facts["permit"] == act.facts["permit"]:
            written = act if row.facts["outcome"] == "whole" else None
        elif row.kind in ("verify_failed", "unit_held"):
            written = None
        elif row.kind == "unit_verified" and written is not None:
            if row.facts["release"] != written.facts["release"]:
                yield f"{row}: {row.facts['release']} is verified, {written} is for {written.facts['release']}"
            written = None
        if row.kind != "unit_verified" or act is None or act.facts["release"] != row.facts["release"]:
            continue
        if not any(x["sha256"] == act.facts["digest"] and x["at_us"] <= row.wall_us for x in whole):
            yield f"{row}: verified, and the image of {act} never went in whole"


def erased(folder: Path, rows: list[Row], log: list[Facts]) -> Iterator[str]:
    """What was erased is whole in the archive and was recorded there before, or its owner had let it go."""
    for line in (line for line in log if line["what"] == "erased"):
        before = [r for r in rows if r.wall_us <= line["at_us"]]
        let_go = [
            (x["name"], x["bytes"]) for r in before if r.kind == "recordings_let_go" for x in r.facts["recordings"]
        ]
        kept = [r.facts["sha256"] for r in before if r.kind == "recording_preserved"]
        for lost in line["recordings"]:
            if (lost["name"], lost["bytes"]) in let_go:
                continue
            if lost["sha256"] not in kept:
                yield f"log at {line['at_us']}: {lost['name']} was erased and not recorded as preserved before"
            if not _whole(folder, lost["sha256"]):
                yield f"log at {line['at_us']}: {lost['name']} was erased and is not whole in the archive"
    for row in (r for r in rows if r.kind == "recording_preserved"):
        if not _whole(folder, row.facts["sha256"]):
            yield f"{row}: {row.facts['name']} is recorded as preserved and is not whole in the archive"


def _whole(folder: Path, sha256: str) -> bool:
    path = folder / "record" / "archive" / sha256[:2] / sha256
    return path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == sha256


def done(rows: list[Row], state: Facts | None) -> Iterator[str]:
    """No unit is shown done that is not: verified after its last write, and so by the instrument's own word."""
    verified, target, shown = None, None, None
    for row in rows:
        if row.kind in ("day_begun", "act_spent", "unit_held") or row.facts.get("step") == "write":
            verified = None
        if row.kind == "unit_verified":
            verified = row.facts["release"]
        elif row.kind == "target_set":
            target = row.facts["release"]
        if row.kind == "unit_ready" and (verified is None or target not in (None, verified)):
            yield f"{row}: ready, with {verified or 'nothing'} verified and {target or 'nothing'} as its target"
        if row.kind in MOVES or row.kind == "step_begun":
            shown = DONE.get(row.kind)
    if shown is None or state is None:
        return
    if (state["mode"], state["release"]) != ("run", verified):
        runs = f"{state['release'] or 'nothing'} ({state['mode']})"
        yield f"state.json: {shown}, and runs {runs}; {verified} was verified"
    if state.get("writing") or not (state.get("slots") or {}).get("confirmed", True):
        yield f"state.json: {shown}, and what it runs is not there for good"


def main() -> int:
    """Check one day; 0 if all holds."""
    parser = argparse.ArgumentParser(description="Judge a simulated day from its files alone.")
    parser.add_argument("folder", type=Path, metavar="DIR")
    parser.add_argument("--finished", action="store_true", help="the day came to its end")
    asked = parser.parse_args()
    found = violations(asked.folder, finished=asked.finished)
    for words in found:
        sys.stdout.write(f"{words}\n")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
