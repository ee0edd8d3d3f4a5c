"""A database that another program has locked: waited for, told, nothing lost."""

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import anyio
import pytest
import structlog

from benchday.domain.errors import RecordHeld
from benchday.record import database
from benchday.record.journal import open_journal
from benchday.record.personal import open_personal
from benchday.record.verifying import verify_chain
from benchday.testing.clock import ManualClock
from benchday.testing.journals import a_note

pytestmark = pytest.mark.asyncio

LOCKING = """
import sqlite3, sys
database = sqlite3.connect(sys.argv[1], isolation_level=None)
database.execute(sys.argv[2])
database.execute("SELECT count(*) FROM sqlite_master").fetchone()
print("locked", flush=True)
sys.stdin.readline()
"""


@contextmanager
def locked_by_another(path: Path, how: str) -> Iterator["subprocess.Popen[str]"]:
    """Have another process lock a database until a line is sent to it."""
    command = [sys.executable, "-c", LOCKING, str(path), how]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdin is not None
        assert other.stdout is not None
        assert other.stdout.readline() == "locked\n"
        yield other
        other.stdin.close()


async def _once_told(logs: list["structlog.typing.EventDict"], other: "subprocess.Popen[str]") -> None:
    """Let go of the lock once the one who waits has said so."""
    while not any("locked" in event["event"] for event in logs):  # noqa: ASYNC110 - a list tells nobody
        await anyio.sleep(0.05)
    assert other.stdin is not None
    other.stdin.write("\n")
    other.stdin.flush()


@pytest.fixture
def logs() -> Iterator[list["structlog.typing.EventDict"]]:
    """Return the events that are logged."""
    structlog.configure(logger_factory=structlog.ReturnLoggerFactory())
    try:
        with structlog.testing.capture_logs() as events:
            yield events
    finally:
        structlog.reset_defaults()


async def test_a_locked_journal_is_waited_for(
    folder: Path, clock: ManualClock, logs: list["structlog.typing.EventDict"]
) -> None:
    """The append ends once the other has let go; it was told meanwhile, and nothing is lost or doubled."""
    journal = open_journal(folder, "b1", clock, simulated=True)
    with locked_by_another(folder / "journal.db", "BEGIN IMMEDIATE") as other:
        async with anyio.create_task_group() as both:
            both.start_soon(_once_told, logs, other)
            await journal.append([a_note("patient")])
    assert [entry.seq for entry in journal.read()] == [1]
    await journal.close()
    assert verify_chain(folder).faults == ()


async def test_locked_personal_data_is_waited_for(
    folder: Path, clock: ManualClock, logs: list["structlog.typing.EventDict"]
) -> None:
    """A reader that holds what it sees keeps this file, which has no log of its own, from changing."""
    personal = open_personal(folder, clock.wall())
    await personal.keep("first")
    with locked_by_another(folder / "personal.db", "BEGIN") as other:
        async with anyio.create_task_group() as both:
            both.start_soon(_once_told, logs, other)
            reference = await personal.keep("second")
    assert personal.look_up(reference.id) == "second"
    await personal.close()


async def test_a_journal_that_stays_locked_is_an_error(
    folder: Path, clock: ManualClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told with what to do; nothing was recorded, and it works again afterwards."""
    monkeypatch.setattr(database, "LOCKED_TRIES", 2)
    journal = open_journal(folder, "b1", clock, simulated=True)
    with (
        locked_by_another(folder / "journal.db", "BEGIN IMMEDIATE"),
        pytest.raises(RecordHeld, match=r"has .*journal\.db locked .*nothing was recorded: end that program"),
    ):
        await journal.append([a_note("in vain")])
    await journal.append([a_note("again")])
    assert [entry.facts["says"] for entry in journal.read()] == ["again"]
    await journal.close()


async def test_a_reader_that_holds_a_snapshot_keeps_nobody_waiting(folder: Path, clock: ManualClock) -> None:
    """The log grows meanwhile; the reader sees what it saw, and afterwards all is there."""
    journal = open_journal(folder, "b1", clock, simulated=True)
    await journal.append([a_note("before")])
    with closing(sqlite3.connect(folder / "journal.db", isolation_level=None)) as reader:
        reader.execute("BEGIN")
        assert reader.execute("SELECT count(*) FROM entry").fetchone() == (1,)
        for number in range(1200):
            await journal.append([a_note(f"{number}")])
        assert reader.execute("SELECT count(*) FROM entry").fetchone() == (1,)
        await journal.close()
    assert verify_chain(folder).heads["b1"].seq == 1201
