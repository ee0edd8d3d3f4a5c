"""The arrows: imports point one way, downwards, by the contracts in pyproject.toml."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house.sizes import ROOT

LINT_IMPORTS = Path(sys.executable).parent / "lint-imports"


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    """Check the contracts over the packages in a folder."""
    assert LINT_IMPORTS.exists(), "lint-imports is missing: sh .ci/setup test"
    paths = os.pathsep.join(str(folder / part) for part in ("", "simulators", "playbooks"))
    return subprocess.run(
        [str(LINT_IMPORTS), "--no-cache"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )


def test_contracts_are_kept() -> None:
    """No import points upwards or sideways; the output names the contract and the line that breaks it."""
    done = lint(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("file", "line", "contract"),
    [
        ("benchday/record/sideways.py", "import benchday.devices.nmea", "imports point one way"),
        ("benchday/domain/reading.py", "import sqlite3", "do no I/O"),
    ],
)
def test_a_broken_one_is_told(tmp_path: Path, file: str, line: str, contract: str) -> None:
    """A module that points the wrong way breaks its contract by name."""
    ignored = shutil.ignore_patterns("__pycache__")
    for name in ("benchday", "simulators", "playbooks"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=ignored)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / file).write_text(f"{line}\n", encoding="utf-8")
    done = lint(tmp_path)
    assert done.returncode == 1
    broken = [told for told in done.stdout.splitlines() if "BROKEN" in told]
    assert len(broken) == 1
    assert contract in broken[0]
