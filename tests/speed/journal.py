"""How fast the journal is against bare SQLite of the same durability, in the same run.

    python -m tests.speed.journal

Bare SQLite inserts ready-made rows of the same size into the same table, one transaction each, from one thread. The
journal takes drafts, makes canonical bytes, chains and hashes them, and tells its callers through the event loop.
Rounds of all three take turns, so that a disk that is slow for a while is slow for all; the medians are compared.
"""

from __future__ import annotations

import asyncio
import sqlite3
import statistics
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

from benchday.domain.entries import GENESIS, Draft, Entry, Times
from benchday.record.clock import DayClock
from benchday.record.journal import SqliteJournal, open_journal

ROUNDS = 15
ENTRIES = 400
CALLERS = 8
GOALS_PERCENT = {"one after another": 40, "eight callers": 150}

DRAFT = Draft(
    "step_ended",
    {"step": "preserve", "outcome": "done", "files": 3, "bytes": 123_456_789, "took_us": 61_234_567},
    unit="QM-10442",
    station="1",
    operator="Ada",
)


def bare(path: Path) -> float:
    """Return commits a second of bare SQLite."""
    e = Entry.forge(DRAFT, bench="b1", seq=1, times=Times(1, 2, 3), prev=GENESIS)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute(
            "CREATE TABLE IF NOT EXISTS entry (bench, seq, at_us, wall_us, mono_us, kind, v, unit, station, operator, "
            "body BLOB, prev BLOB, digest BLOB, PRIMARY KEY (bench, seq))"
        )
        first = connection.execute("SELECT coalesce(max(seq), 0) + 1 FROM entry").fetchone()[0]
        began = time.perf_counter()
        for seq in range(first, first + ENTRIES):
            connection.execute("BEGIN IMMEDIATE")
            connection.execute(
                "INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                ("b1", seq, 1, 2, 3, e.kind, 1, e.unit, e.station, e.operator, e.body, e.prev, e.digest),
            )
            connection.execute("COMMIT")

        return ENTRIES / (time.perf_counter() - began)


async def ours(journal: SqliteJournal, callers: int) -> float:
    """Return entries a second of the journal with so many callers at once."""

    async def call() -> None:
        for _ in range(ENTRIES // callers):
            await journal.append([DRAFT])

    began = time.perf_counter()
    await asyncio.gather(*(call() for _ in range(callers)))
    return ENTRIES / (time.perf_counter() - began)


async def measure(folder: Path) -> dict[str, list[float]]:
    """Run the rounds and return the rates."""
    rates: dict[str, list[float]] = {"bare": [], "one after another": [], "eight callers": []}
    journal = open_journal(folder / "record", "b1", DayClock(), simulated=True)
    for _ in range(ROUNDS):
        rates["bare"].append(bare(folder / "bare.db"))
        rates["one after another"].append(await ours(journal, 1))
        rates["eight callers"].append(await ours(journal, CALLERS))

    await journal.close()
    return rates


def main() -> int:
    """Print the figures; return 1 if a goal is missed."""
    with tempfile.TemporaryDirectory() as folder:
        rates = asyncio.run(measure(Path(folder)))

    median = {name: statistics.median(values) for name, values in rates.items()}
    print(f"SQLite {sqlite3.sqlite_version}, {ROUNDS} rounds of {ENTRIES} entries each, medians")
    print(f"bare sqlite3, one commit each: {median['bare']:.0f}/s")
    missed = 0
    for name, goal in GOALS_PERCENT.items():
        percent = 100 * median[name] / median["bare"]
        missed += percent < goal
        print(f"journal, {name}: {median[name]:.0f}/s, {percent:.0f} % of bare (goal {goal} %)")

    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
