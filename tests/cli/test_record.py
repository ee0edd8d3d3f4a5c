"""The commands about the record: their documents, their statuses, and what is told when a day starts."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import anyio
import pytest

from benchday.cli.documents import DOCUMENTS
from benchday.record.archive import place_of
from benchday.record.place import Place
from benchday.testing.clock import ManualClock
from tests.record.some_record import write_record

ROOT = Path(__file__).parents[2]


def called(*arguments: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run benchday."""
    paths = os.pathsep.join(str(p) for p in (ROOT, ROOT / "simulators", ROOT / "playbooks"))
    environment = os.environ | {"PYTHONPATH": paths, "XDG_STATE_HOME": str(cwd / "state")}
    command = [sys.executable, "-m", "benchday.cli.main", *map(str, arguments)]
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)


def document(name: str, *arguments: object, cwd: Path, status: int = 0) -> dict[str, Any]:
    """Run a command with --json; check its document against its model."""
    ended = called(*arguments, "--json", cwd=cwd)
    assert ended.returncode == status, ended.stderr
    told: dict[str, Any] = json.loads(ended.stdout)
    assert told["benchday"] == f"{name}/1"
    DOCUMENTS[name].model_validate(told)
    return told


@pytest.fixture
def kept(tmp_path: Path) -> dict[str, str]:
    """Write a record; return the digests of its files."""
    return anyio.run(write_record, tmp_path / "record", ManualClock())


def test_each_prints_its_document(tmp_path: Path, kept: dict[str, str]) -> None:
    """Copied, checked, spoilt, checked again, restored."""
    told = document("record-copy", "record", "copy", "safe", "--record", "record", cwd=tmp_path)
    assert (told["entries_new"], told["recordings"], told["lacking"]) == (6, 3, [])
    assert document("record-check", "record", "check", "safe", cwd=tmp_path)["copy_of"] == str(tmp_path / "record")
    assert (
        document("record-restore", "record", "restore", "safe", "--record", "record", cwd=tmp_path)["changed"] is False
    )
    place_of(Place(tmp_path / "record").archive, kept["SITE001.rnx"]).write_bytes(b"rotten")
    (fault,) = document("record-check", "record", "check", "record", cwd=tmp_path, status=5)["faults"]
    assert (fault["code"], fault["unit"]) == ("archive", "QM-10442")
    told = document("record-restore", "record", "restore", "safe", "--record", "record", cwd=tmp_path)
    assert told["recordings_put_back"] == [kept["SITE001.rnx"]]
    (tmp_path / "record" / "journal.db").write_bytes(b"")
    assert document("record-check", "record", "check", "record", cwd=tmp_path, status=5)["proves"] is False
    told = document("record-restore", "record", "restore", "safe", "--record", "record", cwd=tmp_path)
    assert told["aside"].startswith("record.aside-")
    assert {(lost["bench"], lost["entries"]) for lost in told["lost"]} == {("b1", 0), ("b2", 0)}
    assert document("record-check", "record", "check", "record", cwd=tmp_path)["proves"] is True


@pytest.mark.usefixtures("kept")
def test_a_damaged_record_ends_with_five(tmp_path: Path) -> None:
    """Whatever reads it says so, and what to do; a copy is not looked for where there is none."""
    (tmp_path / "record" / "journal.db").write_bytes(b"no database " * 999)
    for arguments in (("units",), ("due",), ("durations",), ("unit", "QM-10442")):
        ended = called(*arguments, "--record", "record", cwd=tmp_path)
        assert ended.returncode == 5, arguments
        assert "benchday record restore COPY --record record" in ended.stderr
    assert called("record", "restore", "nowhere", "--record", "record", cwd=tmp_path).returncode == 2


def test_who_may_read_the_record_is_told_at_the_start(day: Path, tmp_path: Path) -> None:
    """Too open, it is said with what closes it; closed, nothing is said."""
    arguments = ("run", day, "--operator", "Ines Halloran", "--no-input", "--speed", "100")
    record = day / "record"
    anyio.run(write_record, record, ManualClock())
    for path in (record, *record.rglob("*")):
        path.chmod(0o700 if path.is_dir() else 0o600)
    assert "worth knowing" not in called(*arguments, cwd=tmp_path).stderr
    (record / "journal.db").chmod(0o644)
    told = called(*arguments, cwd=tmp_path).stderr
    assert f"benchday: worth knowing: others than its owner may use {record / 'journal.db'} (mode 0644)" in told
    assert f"chmod -R go= {record}" in told
