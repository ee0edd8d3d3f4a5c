"""The journal in SQLite beyond the promises of its seam."""

import asyncio
import sqlite3
import stat
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, closing
from pathlib import Path

import pytest

from benchday.domain.entries import Draft
from benchday.domain.errors import AlreadyRecorded, PermitRefused, RecordDamaged, RecordError, RecordHeld
from benchday.record.journal import SqliteJournal, open_journal
from benchday.record.writer import Job
from benchday.testing.clock import ManualClock
from benchday.testing.journals import a_note, a_permit, a_reading, given

pytestmark = pytest.mark.asyncio


@asynccontextmanager
async def journal_at(folder: Path, clock: ManualClock, *, simulated: bool = True) -> AsyncIterator[SqliteJournal]:
    """Open a journal and close it at the end."""
    journal = open_journal(folder, "b1", clock, simulated=simulated)
    try:
        yield journal
    finally:
        await journal.close()


async def test_makes_a_folder_for_its_owner_only(folder: Path, clock: ManualClock) -> None:
    """A record is a folder that nobody else can read, the write-ahead log included."""
    async with journal_at(folder, clock) as journal:
        await journal.append([a_note()])
        modes = {p.name: stat.S_IMODE(p.stat().st_mode) for p in [folder, *folder.iterdir()]}
    assert modes == {
        "record": 0o700,
        "archive": 0o700,
        "keys": 0o700,
        "journal.db": 0o600,
        "journal.db-wal": 0o600,
        "journal.db-shm": 0o600,
        "journal.end": 0o600,
        "journal.lock": 0o600,
    }
    assert {p.name for p in folder.iterdir()} == {"archive", "keys", "journal.db", "journal.end", "journal.lock"}


async def test_table_is_the_contract(folder: Path, clock: ManualClock) -> None:
    """Outsiders rely on the table's columns, on synced commits and on the copies of the body."""
    async with journal_at(folder, clock) as journal:
        (entry,) = await journal.append([Draft("input_read", {"n": 1}, unit="QM-1", station="2", operator="Ada")])
    with closing(sqlite3.connect(folder / "journal.db")) as outside:
        columns = [(row[1], row[2], row[5]) for row in outside.execute("PRAGMA table_info(entry)")]
        rows = outside.execute("SELECT * FROM entry").fetchall()
        assert outside.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert [c[0] for c in columns] == (
        [
            "bench",
            "seq",
            "at_us",
            "wall_us",
            "mono_us",
            "kind",
            "v",
            "unit",
            "station",
            "operator",
            "body",
            "prev",
            "digest",
        ]
    )
    assert [c[0] for c in columns if c[2]] == ["bench", "seq"]
    assert [c[0] for c in columns if c[1] == "BLOB"] == ["body", "prev", "digest"]
    now = clock.now()
    assert rows == [("b1", 1, now, now, 0, "input_read", 1, "QM-1", "2", "Ada", entry.body, entry.prev, entry.digest)]


async def test_every_commit_is_synced(folder: Path, clock: ManualClock) -> None:
    """The writing connection runs with synchronous=FULL (2); the reading one never checkpoints and cannot write."""
    async with journal_at(folder, clock) as journal:
        assert journal._writing.execute("PRAGMA synchronous").fetchone() == (2,)
        assert journal._reading.execute("PRAGMA wal_autocheckpoint").fetchone() == (0,)
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            journal._reading.execute("INSERT INTO once VALUES ('a', 'b', 1)")


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE entry SET operator = 'Somebody else'",
        "UPDATE entry SET seq = seq",
        "DELETE FROM entry",
        "INSERT OR REPLACE INTO entry SELECT * FROM entry",
        "REPLACE INTO once VALUES ('item:1', 'b1', 7)",
        "UPDATE once SET seq = 7",
        "DELETE FROM once",
        "UPDATE record SET simulated = 0",
        "DELETE FROM record",
    ],
)
async def test_is_append_only_for_everybody(folder: Path, clock: ManualClock, sql: str) -> None:
    """The database itself refuses to change what was written, whoever asks."""
    async with journal_at(folder, clock) as journal:
        await journal.append([a_note()], expect=["item:1"])
    with closing(sqlite3.connect(folder / "journal.db")) as outside:
        before = [outside.execute(f"SELECT * FROM {t}").fetchall() for t in ("entry", "once", "record")]  # noqa: S608
        with pytest.raises(sqlite3.IntegrityError):
            outside.execute(sql)
        after = [outside.execute(f"SELECT * FROM {t}").fetchall() for t in ("entry", "once", "record")]  # noqa: S608
    assert after == before


async def test_goes_on_where_it_ended(folder: Path, clock: ManualClock) -> None:
    """Opened again, the chain continues and claimed names stay claimed."""
    async with journal_at(folder, clock) as journal:
        first = await journal.append([a_note("a"), a_note("b")], expect=["item:1"])
    async with journal_at(folder, clock) as journal:
        assert journal.read() == first
        (third,) = await journal.append([a_note("c")])
        assert (third.seq, third.prev) == (3, first[-1].digest)
        with pytest.raises(AlreadyRecorded, match="item:1 was recorded before, in entry 1"):
            await journal.append([a_note()], expect=["item:1"])


async def test_a_restart_voids_permits(folder: Path, clock: ManualClock) -> None:
    """A permit given by another program is no permit, and given once more it does not spend its act again."""
    permit = a_permit(clock)
    async with journal_at(folder, clock) as journal:
        await journal.append([given(permit)])
        await journal.spend(permit, a_reading(permit))
    async with journal_at(folder, clock) as journal:
        with pytest.raises(PermitRefused, match="not given by the program that runs now"):
            await journal.spend(permit, a_reading(permit))
        await journal.append([given(permit)])
        with pytest.raises(PermitRefused, match=r"act:.*:0 was recorded before, in entry 2"):
            await journal.spend(permit, a_reading(permit))
        assert [e.kind for e in journal.read()].count("act_spent") == 1


async def test_a_stopped_line_outlives_a_restart(folder: Path, clock: ManualClock) -> None:
    """Only a person lifts it."""
    line = {"model": "Millrace", "release": "5.1", "reason": "a verify failed"}
    permit = a_permit(clock)
    async with journal_at(folder, clock) as journal:
        await journal.append([Draft("line_stopped", line)])
    async with journal_at(folder, clock) as journal:
        await journal.append([given(permit)])
        with pytest.raises(PermitRefused, match="the line is stopped: a verify failed"):
            await journal.spend(permit, a_reading(permit))


async def test_a_second_opening_is_told_who_holds_it(folder: Path, clock: ManualClock) -> None:
    """Even within one program only one journal writes."""
    async with journal_at(folder, clock):
        with pytest.raises(RecordHeld, match=r"is being written by .* \(process \d+ on .*\); end that program first"):
            open_journal(folder, "b1", clock, simulated=True)
    async with journal_at(folder, clock) as journal:
        await journal.append([a_note()])


async def test_real_and_simulated_never_mix(tmp_path: Path, clock: ManualClock) -> None:
    """What a record is, it stays; and a refused opening leaves the record free."""
    for simulated, words in (
        (True, "simulated record and cannot take real"),
        (False, "real record and cannot take sim"),
    ):
        folder = tmp_path / str(simulated)
        async with journal_at(folder, clock, simulated=simulated):
            pass
        with pytest.raises(RecordError, match=words):
            open_journal(folder, "b1", clock, simulated=not simulated)
        async with journal_at(folder, clock, simulated=simulated):
            pass


async def test_what_is_no_database_is_left_alone(folder: Path, clock: ManualClock) -> None:
    """Damage is told with what to do, and nothing is overwritten."""
    folder.mkdir()
    path = folder / "journal.db"
    path.write_bytes(b"these are no entries " * 500)
    with pytest.raises(RecordDamaged, match=r"not a whole database.*sets it aside for a copy"):
        open_journal(folder, "b1", clock, simulated=True)
    assert path.read_bytes() == b"these are no entries " * 500


async def test_somebody_elses_database_is_left_alone(folder: Path, clock: ManualClock) -> None:
    """A database of another program is not made into a journal."""
    folder.mkdir()
    with closing(sqlite3.connect(folder / "journal.db")) as other:
        other.execute("CREATE TABLE songs (name)")
    with pytest.raises(RecordError, match="database of something else; name another folder"):
        open_journal(folder, "b1", clock, simulated=True)


async def test_a_damaged_page_is_found_at_opening(folder: Path, clock: ManualClock) -> None:
    """SQLite's own examination runs before anything is written."""
    async with journal_at(folder, clock) as journal:
        await journal.append([a_note("x" * 500) for _ in range(200)])
    with (folder / "journal.db").open("r+b") as file:
        file.seek(3 * 4096)
        file.write(b"\xff" * 4096 * 20)
    with pytest.raises(RecordDamaged, match=r"is damaged: .*sets it aside for a copy"):
        open_journal(folder, "b1", clock, simulated=True)


@pytest.mark.parametrize(
    ("sql", "fault"),
    [
        ("UPDATE entry SET body = replace(CAST(body AS TEXT), 'three', 'T') WHERE seq = 3", "entry 3: its digest"),
        ("UPDATE entry SET body = replace(body, CAST('one' AS BLOB), x'6f6e66') WHERE seq = 1", "entry 1: its digest"),
        ("UPDATE entry SET prev = zeroblob(32) WHERE seq = 3", "entry 3: does not point at"),
        ("DELETE FROM entry WHERE seq = 2", "entry 3: follows entry 1"),
        ("DELETE FROM entry WHERE seq = 1", "entry 2: follows entry 0"),
        ("DELETE FROM entry WHERE seq = 3", "the chain ends at entry 2, but entry 3 was recorded"),
    ],
)
async def test_a_broken_chain_is_found_at_opening(folder: Path, clock: ManualClock, sql: str, fault: str) -> None:
    """Each link is checked, that no entry is missing, and that the end is the one that was noted."""
    async with journal_at(folder, clock) as journal:
        await journal.append([a_note("one"), a_note("two"), a_note("three")])
    with closing(sqlite3.connect(folder / "journal.db", isolation_level=None)) as outside:
        for trigger in ("entry_no_update", "entry_no_delete"):
            outside.execute(f"DROP TRIGGER {trigger}")
        outside.execute(sql)
    with pytest.raises(RecordDamaged, match=rf"journal\.db does not prove: b1.*{fault}.*sets it aside for a copy"):
        open_journal(folder, "b1", clock, simulated=True)


async def test_benches_have_chains_of_their_own(folder: Path, clock: ManualClock) -> None:
    """Entries of another bench in the same file do not count here."""
    async with journal_at(folder, clock) as journal:
        await journal.append([a_note("here")])
    other = open_journal(folder, "b2", clock, simulated=True)
    assert other.read() == ()
    (first,) = await other.append([a_note("there")])
    assert (first.bench, first.seq, first.prev) == ("b2", 1, bytes(32))
    await other.close()


async def test_a_task_cancelled_outright_loses_nothing(folder: Path, clock: ManualClock) -> None:
    """A task cancelled past every shield leaves its entries whole and the journal at work."""
    async with journal_at(folder, clock) as journal:
        tasks = [asyncio.create_task(journal.append([a_note(f"{n}a"), a_note(f"{n}b")])) for n in range(20)]
        await asyncio.sleep(0)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await journal.append([a_note("after")])
        said = [e.facts["says"] for e in journal.read()]
    assert said == [f"{n}{half}" for n in range(20) for half in "ab"] + ["after"]


async def test_what_was_handed_in_is_finished_at_closing(folder: Path, clock: ManualClock) -> None:
    """Closing waits for what is under way."""
    journal = open_journal(folder, "b1", clock, simulated=True)
    tasks = [asyncio.create_task(journal.append([a_note(str(n))])) for n in range(50)]
    await asyncio.sleep(0)
    await journal.close()
    await asyncio.gather(*tasks)
    async with journal_at(folder, clock) as again:
        assert len(again.read()) == 50


async def test_spending_never_shares_its_transaction(folder: Path, clock: ManualClock) -> None:
    """Whatever waits beside it, the intent is committed by itself; the rest is grouped."""
    async with journal_at(folder, clock) as journal:
        permit = a_permit(clock)
        await journal.append([given(permit)])
        batches: list[list[bool]] = []
        commit = journal._writer._commit

        def watched(jobs: Sequence[Job]) -> None:
            batches.append([job.alone for job in jobs])
            commit(jobs)

        journal._writer._commit = watched
        tasks: list[asyncio.Task[object]] = []
        for n in range(30):
            tasks.append(asyncio.create_task(journal.append([a_note(str(n))])))
            if n == 15:
                tasks.append(asyncio.create_task(journal.spend(permit, a_reading(permit))))
        await asyncio.gather(*tasks)
    assert [True] in batches
    assert not any(True in batch for batch in batches if batch != [True])
    assert sum(map(len, batches)) == 31
    assert max(map(len, batches)) > 1


async def test_a_failing_append_harms_no_other_in_its_transaction(folder: Path, clock: ManualClock) -> None:
    """Of those committed together, only the one that fails is left out."""
    async with journal_at(folder, clock) as journal:
        await journal.append([a_note("first")], expect=["taken"])
        drafts = {n: Draft("input_read", {"says": 1.5 if n == 3 else str(n)}) for n in range(8)}
        calls = [journal.append([a_note("with"), drafts[n]], expect=["taken"] if n == 5 else [f"{n}"]) for n in drafts]
        answers = await asyncio.gather(*calls, return_exceptions=True)
        said = [e.facts["says"] for e in journal.read()]
    assert isinstance(answers[3], ValueError)
    assert isinstance(answers[5], AlreadyRecorded)
    assert said == ["first", *(w for n in (0, 1, 2, 4, 6, 7) for w in ("with", str(n)))]
    async with journal_at(folder, clock) as again:
        assert len(again.read()) == 13


async def test_what_sqlite_refuses_in_the_middle_is_undone(folder: Path, clock: ManualClock) -> None:
    """An append that SQLite refuses after it has begun leaves nothing, and those committed with it go through."""
    async with journal_at(folder, clock) as journal:
        journal._writing.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, 10_000)
        answers = await asyncio.gather(
            journal.append([a_note("before")]),
            journal.append([a_note("half"), a_note("x" * 20_000)], expect=["half"]),
            journal.append([a_note("after")]),
            return_exceptions=True,
        )
        assert isinstance(answers[1], RecordError)
        assert [e.facts["says"] for e in journal.read()] == ["before", "after"]
        await journal.append([a_note("half")], expect=["half"])
