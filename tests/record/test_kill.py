"""A real program killed at any moment: nothing that was acknowledged is lost, and the chain is whole."""

import random
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from benchday.domain.errors import RecordHeld
from benchday.record.archive import open_archive
from benchday.record.journal import open_journal
from benchday.record.migrating import migrate, shipped
from benchday.record.place import Place
from benchday.record.reading import is_begun
from benchday.record.verifying import verify_chain
from benchday.testing.clock import ManualClock

ROOT = Path(__file__).parents[2]
KILLS = 12


@contextmanager
def appending(folder: Path) -> Iterator["subprocess.Popen[str]"]:
    """Start the program that appends for ever; it is killed at the end at the latest."""
    command = [sys.executable, "-m", "tests.record.appending", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT) as program:
        assert program.stdout is not None
        assert program.stderr is not None
        try:
            if program.stdout.readline() != "ready\n":
                pytest.fail(program.stderr.read())
            yield program
        finally:
            program.kill()


@pytest.mark.asyncio
async def test_nothing_acknowledged_is_lost_by_a_kill(folder: Path) -> None:
    """Killed a dozen times, at a different moment each time; each run goes on from the last."""
    draw = random.Random(7)
    acknowledged: dict[int, str] = {}
    for _ in range(KILLS):
        with appending(folder) as program:
            assert program.stdout is not None
            wanted = draw.randrange(1, 120)
            lines = [program.stdout.readline() for _ in range(wanted)]
            program.kill()
            lines += program.stdout.readlines()
        acknowledged |= {int(seq): digest for seq, digest in (x.split() for x in lines if x.endswith("\n"))}

    walk = verify_chain(folder)
    assert walk.faults == ()
    journal = open_journal(folder, "b1", ManualClock(), simulated=True)
    kept = {entry.seq: entry.digest.hex() for entry in journal.read()}
    await journal.close()
    assert len(acknowledged) > KILLS * 10
    assert acknowledged.items() <= kept.items()


@pytest.mark.asyncio
async def test_another_program_is_told_who_writes(folder: Path) -> None:
    """The refusal names the process; killed, its stale text holds nobody off; anybody may read."""
    with appending(folder) as program:
        with pytest.raises(RecordHeld, match=rf"appending\.py \(process {program.pid} on .+\); end that program first"):
            open_journal(folder, "b1", ManualClock(), simulated=True)
        assert verify_chain(folder).faults == ()

    assert str(program.pid) in (folder / "journal.lock").read_text()
    journal = open_journal(folder, "b1", ManualClock(), simulated=True)
    assert str(program.pid) not in (folder / "journal.lock").read_text()
    await journal.close()


@pytest.mark.asyncio
async def test_a_record_whose_making_was_killed_is_made_anew(folder: Path) -> None:
    """What stands there before the first commit, or before its sort is told, is no record yet and stops nobody."""
    assert not is_begun(folder)
    path = Place.prepared(folder).journal
    path.touch()
    assert not is_begun(folder)
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA journal_mode=WAL")
        database.execute("PRAGMA user_version=0")
        assert not is_begun(folder)
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        migrate(database, path, shipped())
        assert not is_begun(folder)
    journal = open_journal(folder, "b1", ManualClock(), simulated=True)
    await journal.close()
    assert is_begun(folder)


ARCHIVING = """
import anyio, sys, pathlib
from benchday.record.archive import open_archive
async def main():
    incoming = await open_archive(pathlib.Path(sys.argv[1])).begin()
    await incoming.add(bytes(3 << 20))
    print("ready", flush=True)
    await anyio.sleep_forever()
anyio.run(main)
"""


def test_half_a_recording_is_gone_after_a_kill(folder: Path) -> None:
    """What a killed program left half written is removed at the next opening."""
    with subprocess.Popen([sys.executable, "-c", ARCHIVING, folder], stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "ready\n"
        program.kill()
    assert [p.stat().st_size for p in (folder / "archive" / "incoming").iterdir()] == [3 << 20]
    open_archive(folder)
    assert [p for p in (folder / "archive").rglob("*") if p.is_file()] == []
