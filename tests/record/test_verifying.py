"""Walking chains: every change between two entries is found, and said where."""

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from benchday.domain.entries import Draft
from benchday.domain.errors import RecordError
from benchday.record.journal import open_journal
from benchday.record.reading import open_reader
from benchday.record.verifying import verify_chain
from benchday.testing.clock import ManualClock
from benchday.testing.journals import a_note

pytestmark = pytest.mark.asyncio


async def write_some(folder: Path, clock: ManualClock) -> None:
    """Write two chains."""
    for bench in ("b1", "b2"):
        journal = open_journal(folder, bench, clock, simulated=True)
        await journal.append(
            [a_note("one"), Draft("input_read", {"n": 2}, unit="QM-1"), a_note("three")], expect=[bench]
        )
        await journal.append([Draft("input_read", {"n": 4}, unit="QM-1"), a_note("five")])
        await journal.close()


def tamper(folder: Path, *statements: str) -> None:
    """Change the file as somebody with the right tools could."""
    with closing(sqlite3.connect(folder / "journal.db", isolation_level=None)) as outside:
        for (trigger,) in outside.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            outside.execute(f"DROP TRIGGER {trigger}")
        for statement in statements:
            outside.execute(statement)


async def test_untouched_chains_are_whole(folder: Path, clock: ManualClock) -> None:
    """The walk tells where each chain ends."""
    await write_some(folder, clock)
    walk = verify_chain(folder)
    assert walk.whole
    assert {bench: head.seq for bench, head in walk.heads.items()} == {"b1": 5, "b2": 5}
    with open_reader(folder) as reader:
        assert walk.heads["b1"].digest == reader.read("b1")[-1].digest


@pytest.mark.parametrize(
    ("statement", "fault"),
    [
        ("UPDATE entry SET kind = 'unit_ready' WHERE bench = 'b1' AND seq = 2", "b1, entry 2: the column kind differs"),
        ("UPDATE entry SET at_us = at_us + 1 WHERE bench = 'b1' AND seq = 2", "b1, entry 2: the column at_us differs"),
        (
            "UPDATE entry SET operator = 'Eve' WHERE bench = 'b2' AND seq = 3",
            "b2, entry 3: the column operator",
        ),
        ("UPDATE entry SET unit = NULL WHERE bench = 'b1' AND seq = 2", "b1, entry 2: the column unit differs"),
        ("UPDATE entry SET body = CAST(replace(body, 'one', 'two') AS BLOB) WHERE seq = 1", "b1, entry 1: its digest"),
        ("UPDATE entry SET body = CAST(body AS TEXT) WHERE bench = 'b1' AND seq = 1", "b1, entry 1: its digest"),
        ("UPDATE entry SET body = x'00' WHERE bench = 'b1' AND seq = 1", "b1, entry 1: its body is no entry"),
        ("UPDATE entry SET digest = zeroblob(32) WHERE bench = 'b1' AND seq = 3", "b1, entry 4: does not point at"),
        ("UPDATE entry SET prev = x'01' WHERE bench = 'b1' AND seq = 1", "b1, entry 1: does not begin the chain"),
        (
            "DELETE FROM entry WHERE bench = 'b1' AND seq = 3",
            "b1, entry 4: follows entry 2, so that",
        ),
        (
            "DELETE FROM entry WHERE bench = 'b2' AND seq = 1",
            "b2, entry 2: follows entry 0, so that",
        ),
        ("UPDATE once SET seq = 9 WHERE name = 'b1'", "b1: the claimed name b1 belongs to entry 9, which is not there"),
        (
            "UPDATE entry SET bench = 'b3' WHERE bench = 'b2'",
            "b3, entry 1: the column bench differs from the body",
        ),
    ],
)
async def test_a_change_is_found(folder: Path, clock: ManualClock, statement: str, fault: str) -> None:
    """Whatever column is changed, the walk names entry and fault."""
    await write_some(folder, clock)
    tamper(folder, statement)
    walk = verify_chain(folder)
    assert not walk.whole
    assert any(found.startswith(fault) for found in walk.faults), walk.faults


async def test_an_entry_made_anew_is_found_at_the_next(folder: Path, clock: ManualClock) -> None:
    """Whoever changes a body and its digest too is given away by the entry that follows."""
    await write_some(folder, clock)
    with open_reader(folder) as reader:
        second = reader.read("b1")[1]
    body = second.body.replace(b'"n":2', b'"n":3')
    digest = hashlib.sha256(second.prev + body).hexdigest()
    anew = f"body = x'{body.hex()}', digest = x'{digest}'"
    tamper(folder, f"UPDATE entry SET {anew} WHERE bench = 'b1' AND seq = 2")  # noqa: S608 - the test is the attacker
    assert verify_chain(folder).faults == ("b1, entry 3: does not point at the entry before it",)


async def test_reading_what_another_writes(folder: Path, clock: ManualClock) -> None:
    """A reader sees each entry once it is committed, by bench and by unit, and is told what sort of record it is."""
    await write_some(folder, clock)
    journal = open_journal(folder, "b1", clock, simulated=True)
    with open_reader(folder) as reader:
        assert reader.simulated
        assert reader.benches() == ("b1", "b2")
        assert [(e.bench, e.seq) for e in reader.read_unit("QM-1")] == [("b1", 2), ("b1", 4), ("b2", 2), ("b2", 4)]
        (sixth,) = await journal.append([a_note("six")])
        assert reader.read("b1", after=5) == (sixth,)
        assert reader.read("b3") == ()
    await journal.close()


async def test_reading_leaves_the_file_alone(folder: Path, clock: ManualClock) -> None:
    """A reader of a record that a killed program left behind neither writes it nor folds its log into it."""
    journal = open_journal(folder, "b1", clock, simulated=True)
    await journal.append([a_note("in the log")])
    killed = folder.parent / "killed"
    killed.mkdir()
    for name in ("journal.db", "journal.db-wal"):
        (killed / name).write_bytes((folder / name).read_bytes())
    await journal.close()
    before = {p.name: p.read_bytes() for p in killed.iterdir()}
    for _ in range(2):
        with open_reader(killed) as reader:
            assert [e.facts["says"] for e in reader.read("b1")] == ["in the log"]
    assert {name: (killed / name).read_bytes() for name in before} == before


async def test_no_record_is_told(tmp_path: Path) -> None:
    """A wrong path is said so, and nothing is made there."""
    for opening in (lambda: open_reader(tmp_path / "none").__enter__(), lambda: verify_chain(tmp_path / "none")):
        with pytest.raises(RecordError, match=r"there is no record at .*none: journal\.db is missing; check the path"):
            opening()
    assert list(tmp_path.iterdir()) == []
