"""Bringing databases of older schemas forward."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from benchday.domain.errors import PermitRefused, RecordDamaged, RecordError
from benchday.record.journal import open_journal
from benchday.record.migrating import Migration, shipped
from benchday.record.reading import open_reader
from benchday.record.verifying import verify_chain
from benchday.testing.clock import ManualClock
from benchday.testing.journals import a_note, a_permit, a_reading, given

pytestmark = pytest.mark.asyncio

GOLDEN = Path(__file__).parent / "golden"
HEADS = {
    1: {
        "bench 1": (15, "748fcfa0c88ebd1be314ef8e590389177a011cadb860ed1fcec3109546271ee1"),
        "bench 2": (15, "9d2736966f8d79ac842b799e357dac806754c367128503cbe3ec07901b7db1a5"),
    }
}
"""Schema -> the ends of the chains in its golden database."""

NEXT = Migration(max(m.number for m in shipped()) + 1, "CREATE TABLE something_new (n INTEGER);")


@pytest.fixture(params=sorted(HEADS))
def schema(request: pytest.FixtureRequest, folder: Path) -> int:
    """Put the golden database of each schema in place."""
    folder.mkdir()
    shutil.copy(GOLDEN / f"schema-{request.param}.db", folder / "journal.db")
    return int(request.param)


def ends(folder: Path) -> dict[str, tuple[int, str]]:
    """Walk the chains and return their ends."""
    walk = verify_chain(folder)
    assert walk.faults == ()
    return {bench: (head.seq, head.digest.hex()) for bench, head in walk.heads.items()}


def tables(path: Path) -> list[tuple[str, str]]:
    """Return names and texts of everything in the schema."""
    with closing(sqlite3.connect(path)) as outside:
        return outside.execute("SELECT name, sql FROM sqlite_master ORDER BY name").fetchall()


async def test_every_released_schema_is_brought_forward(schema: int, folder: Path, clock: ManualClock) -> None:
    """Chains stay byte for byte what they were, what they say still counts, and they go on."""
    journal = open_journal(folder, "bench 1", clock, simulated=True)
    assert ends(folder) == HEADS[schema]
    permit = a_permit(clock)
    await journal.append([given(permit), a_note("Größe")])
    with pytest.raises(PermitRefused, match="the line is stopped: a verify failed"):
        await journal.spend(permit, a_reading(permit))
    await journal.close()
    assert ends(folder)["bench 1"][0] == HEADS[schema]["bench 1"][0] + 3
    with open_reader(folder) as reader:
        assert reader.read("bench 1")[1].facts["says"] == "Größe 0 m²"


async def test_the_newest_golden_database_has_the_shipped_schema(tmp_path: Path, clock: ManualClock) -> None:
    """A released migration is never changed: whoever changes the schema adds a file, and a golden database for it."""
    newest = max(HEADS)
    assert [m.number for m in shipped()] == list(range(1, newest + 1))
    await open_journal(tmp_path / "new", "b1", clock, simulated=True).close()
    assert tables(tmp_path / "new" / "journal.db") == tables(GOLDEN / f"schema-{newest}.db")


async def test_a_copy_is_kept_before_a_file_is_changed(schema: int, folder: Path, clock: ManualClock) -> None:
    """The copy stands beside the journal, whole and for its owner only; a new record needs none."""
    before = ends(folder)
    await open_journal(folder, "bench 1", clock, simulated=True, migrations=[*shipped(), NEXT]).close()
    copy = folder / f"journal.schema-{schema}.db"
    assert copy.stat().st_mode & 0o777 == 0o600
    assert ends(folder) == before
    assert "something_new" in dict(tables(folder / "journal.db"))
    assert "something_new" not in dict(tables(copy))
    (folder / "other").mkdir()
    copy.rename(folder / "other" / "journal.db")
    assert ends(folder / "other") == before


async def test_a_failing_migration_changes_nothing(schema: int, folder: Path, clock: ManualClock) -> None:
    """The file is as it was, the text says what to do, and the older program goes on with it."""
    bad = Migration(NEXT.number, "CREATE TABLE something_new (n INTEGER); INSERT INTO nowhere VALUES (1);")
    with pytest.raises(
        RecordError, match=r"could not be brought to schema \d+ \(.*nowhere.*\); it is as it was before"
    ):
        open_journal(folder, "bench 1", clock, simulated=True, migrations=[*shipped(), bad])
    assert ends(folder) == HEADS[schema]
    assert "something_new" not in dict(tables(folder / "journal.db"))
    await open_journal(folder, "bench 1", clock, simulated=True).close()
    await open_journal(folder, "bench 1", clock, simulated=True, migrations=[*shipped(), NEXT]).close()


async def test_chains_are_walked_after_a_migration(schema: int, folder: Path, clock: ManualClock) -> None:
    """A migration that harms an entry is found out before anything is appended."""
    bad = Migration(
        NEXT.number,
        "DROP TRIGGER entry_no_update; UPDATE entry SET unit = 'another' WHERE bench = 'bench 2' AND seq = 4;",
    )
    assert schema in HEADS
    with pytest.raises(RecordDamaged, match="does not prove: bench 2, entry 4: the column unit differs from the body"):
        open_journal(folder, "bench 1", clock, simulated=True, migrations=[*shipped(), bad])


async def test_a_newer_programs_file_is_refused(folder: Path, clock: ManualClock) -> None:
    """Neither written nor read: an older program does not know what it means."""
    await open_journal(folder, "b1", clock, simulated=True, migrations=[*shipped(), NEXT]).close()
    words = rf"has schema {NEXT.number}, this program knows up to {NEXT.number - 1}; update benchday"
    with pytest.raises(RecordError, match=words):
        open_journal(folder, "b1", clock, simulated=True)
    with pytest.raises(RecordError, match=words), open_reader(folder):
        pytest.fail("a newer record was read")
