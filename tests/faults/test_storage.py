"""Storage that fails under a real day: a bounded, drawn part; more by ``python -m tests.faults.storage --count N``."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from benchday.record.checking import check_record
from tests.faults.storage import ROOT, under_shim
from tests.faults.storage_shim import Fault, Sort, compiled

SEED, COUNT = 20260616, 14


@pytest.fixture(scope="module")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Compile the shim; without a compiler this fails and says what to install."""
    return compiled(tmp_path_factory.mktemp("shim"))


def test_a_day_survives_faults_at_drawn_calls(tmp_path: Path) -> None:
    """Nothing acknowledged is lost, nothing is written without a durable intent, and the same run again goes on."""
    ran = under_shim(["--seed", str(SEED), "--count", str(COUNT)], tmp_path)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert f"{COUNT} faults, seed {SEED}: 0 do not hold" in ran.stdout
    hits = [int(n) for n in re.findall(r"^held .*: (\d+) hit", ran.stdout, re.MULTILINE)]
    assert len(hits) == COUNT
    assert sum(n > 0 for n in hits) > COUNT // 2, "the faults were not met"


def benchday(
    shim: Path, folder: Path, *arguments: str, fault: Fault | None = None
) -> "subprocess.CompletedProcess[str]":
    """Run the real command, under a fault from its first moment on."""
    environment = {**os.environ, "XDG_STATE_HOME": str(folder.parent / "state")}
    environment["PYTHONPATH"] = os.pathsep.join(str(p) for p in (ROOT, ROOT / "simulators", ROOT / "playbooks"))
    if fault is not None:
        environment |= {"LD_PRELOAD": str(shim), "STORAGE_FAULT": fault.in_environment(folder / "record")}
    command = [sys.executable, "-m", "benchday.cli.main", *arguments]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (Fault(Sort.WRITE, "journal.db-wal", 60, lasting=True, error=28), "the disk takes no more at .*make room"),
        (Fault(Sort.SYNC, "journal.db-wal", 20, lasting=False, error=5), "journal.db cannot be used .*check the disk"),
        (Fault(Sort.MAKE, "journal.db", 1, lasting=True, error=30), "cannot write .*journal.db: Read-only file system"),
    ],
    ids=str,
)
def test_the_command_itself_says_what_to_do_and_goes_on(tmp_path: Path, shim: Path, fault: Fault, words: str) -> None:
    """Status 1, one sentence with the file and what to do, no report of a bug; then the same command finishes."""
    folder = tmp_path / "day"
    arguments = ("demo", str(folder), "--units", "1", "--speed", "3000", "--json")
    ended = benchday(shim, folder, *arguments, fault=fault)
    assert ended.returncode == 1, ended.stderr
    complaints = [line for line in ended.stderr.splitlines() if line.startswith("benchday: ")]
    assert len(complaints) == 1
    assert re.search(words, complaints[0])
    assert not (tmp_path / "state").exists() or not list((tmp_path / "state").rglob("*.txt"))
    ended = benchday(shim, folder, *arguments)
    assert ended.returncode == 0, ended.stderr
    assert json.loads(ended.stdout)["finished"] is True
    assert check_record(folder / "record").faults == []
