"""A journal whose disk failed once at a sync says so and records nothing more, though the next sync would succeed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from benchday.record.checking import check_record
from tests.faults.storage import ROOT
from tests.faults.storage_shim import Fault, Sort, compiled

APPENDS = """
import sys
from pathlib import Path
import anyio
from benchday.domain.errors import RecordError
from benchday.record.clock import DayClock
from benchday.record.journal import open_journal
from benchday.testing.journals import a_note

async def main():
    journal = open_journal(Path(sys.argv[1]), "b1", DayClock(), simulated=True)
    for number in range(40):
        try:
            (entry,) = await journal.append([a_note(f"n{number}")])
            print("kept", entry.seq, flush=True)
        except RecordError as error:
            print("refused", error, flush=True)
    await journal.close()

anyio.run(main)
"""


def appended(folder: Path, fault: Fault | None, shim: Path) -> list[str]:
    """Run a program that appends forty times; return what it says of each."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, (ROOT, ROOT / "simulators")))}
    if fault is not None:
        environment |= {"LD_PRELOAD": str(shim), "STORAGE_FAULT": fault.in_environment(folder)}
    command = [sys.executable, "-c", APPENDS, str(folder)]
    ran = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    return ran.stdout.splitlines()


def test_nothing_is_recorded_after_a_sync_that_failed(tmp_path: Path) -> None:
    """What was kept before is kept, the failed one was not told as kept, and a new program goes on behind it."""
    folder = tmp_path / "record"
    fault = Fault(Sort.SYNC, "journal.db-wal", 20, lasting=False, error=5)
    first = appended(folder, fault, compiled(tmp_path))
    kept = [line for line in first if line.startswith("kept")]
    refused = first[len(kept) :]
    assert 5 < len(kept) < 35
    assert all(line.startswith("refused") for line in refused), "something was recorded after the sync that failed"
    assert "check the disk" in refused[0]
    assert "nothing more is recorded; check it, then start again" in refused[1]

    assert check_record(folder).faults == []
    assert appended(folder, None, tmp_path)[0].split() == ["kept", str(len(kept) + 1)]
    assert check_record(folder).faults == []
