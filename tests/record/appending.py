"""A program that appends until it is killed: ``python -m tests.record.appending FOLDER``.

Every entry that was acknowledged is printed (number and digest), as soon as it was.
"""

from __future__ import annotations

import sys
from pathlib import Path

import anyio

from benchday.record.clock import DayClock
from benchday.record.journal import SqliteJournal, open_journal
from benchday.testing.journals import a_note


async def append_for_ever(journal: SqliteJournal, name: str) -> None:
    """Append one, two, three, one ... entries at a time."""
    turn = 0
    while True:
        turn += 1
        entries = await journal.append([a_note(f"{name}:{turn}") for _ in range(1 + turn % 3)])
        for entry in entries:
            sys.stdout.write(f"{entry.seq} {entry.digest.hex()}\n")
        sys.stdout.flush()


async def main(folder: Path) -> None:
    """Append from four callers at once."""
    journal = open_journal(folder, "b1", DayClock(), simulated=True)
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    async with anyio.create_task_group() as tasks:
        for name in "abcd":
            tasks.start_soon(append_for_ever, journal, name)


if __name__ == "__main__":
    anyio.run(main, Path(sys.argv[1]))
