"""The example on the page about the record does what the page says, without any part of benchday."""

import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
import pytest_asyncio

from benchday.domain.entries import Draft
from benchday.record.archive import open_archive
from benchday.record.journal import open_journal
from benchday.testing.clock import ManualClock
from tests.house.sizes import ROOT

PAGE = (ROOT / "benchday" / "docs" / "record.md").read_text(encoding="utf-8")
UNIT = "007421530018"


@pytest.fixture
def example(tmp_path: Path) -> Path:
    """Save the page's example as a program."""
    (code,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    path = tmp_path / "walk.py"
    path.write_text(code, encoding="utf-8")
    return path


@pytest_asyncio.fixture
async def record(tmp_path: Path) -> Path:
    """Make a record with two benches and a preserved recording."""
    folder, clock = tmp_path / "record", ManualClock()
    incoming = await open_archive(folder).begin()
    await incoming.add(b"observations")
    digest = await incoming.finish()
    for bench, number in (("north", 3), ("south", 1)):
        journal = open_journal(folder, bench, clock, simulated=True)
        facts = {"name": "0731A.obs", "bytes": 12, "sha256": digest}
        await journal.append([Draft("recording_preserved", facts, unit=UNIT) for _ in range(number)])
        await journal.close()
    return folder


def walk(example: Path, record: Path) -> list[str]:
    """Run the example on a record; -I leaves out everything that is not the standard library's place."""
    done = subprocess.run([sys.executable, "-I", "-S", str(example), str(record)], capture_output=True, check=True)
    return done.stdout.decode().splitlines()


@pytest.mark.asyncio
async def test_a_whole_record(example: Path, record: Path) -> None:
    """It tells the end of each chain."""
    told = walk(example, record)
    assert [line.partition(",")[0] for line in told] == ["north: 3 entries", "south: 1 entries"]
    assert all(re.search(r"the last [0-9a-f]{64}$", line) for line in told)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    "change",
    [
        "UPDATE entry SET body = replace(body, '0731A', '0731B') WHERE bench = 'north' AND seq = 2",
        "DELETE FROM entry WHERE bench = 'north' AND seq = 2",
        "UPDATE entry SET seq = 9 WHERE bench = 'north' AND seq = 3",
    ],
)
async def test_a_changed_record(example: Path, record: Path, change: str) -> None:
    """Whatever was changed, removed or moved is told, and the other bench's chain is whole."""
    with closing(sqlite3.connect(record / "journal.db")) as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {name}")
        db.execute(change)
        db.execute("UPDATE entry SET body = CAST(body AS BLOB)")
        db.commit()
    told = walk(example, record)
    assert any(line.startswith("north: broken at entry") for line in told)
    assert not any(line.startswith("south: broken") for line in told)


@pytest.mark.asyncio
async def test_the_query_finds_the_file(record: Path) -> None:
    """The query on the page gives the digest under which the file is kept."""
    (query,) = re.findall(r"^    (SELECT json_extract.*?;)$", PAGE, re.DOTALL | re.MULTILINE)
    with closing(sqlite3.connect(record / "journal.db")) as db:
        name, size, digest = db.execute(query).fetchall()[0]
    assert (name, size) == ("0731A.obs", 12)
    assert (record / "archive" / digest[:2] / digest).read_bytes() == b"observations"


@pytest.mark.asyncio
async def test_what_is_kept_where(record: Path) -> None:
    """The page's table names everything in the folder of a record."""
    named = set(re.findall(r"^\| `([a-z.]+)[/`]", PAGE, re.MULTILINE))
    assert {path.name for path in record.iterdir()} <= named
