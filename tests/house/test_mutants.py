"""The tests can fail: each deliberate mistake in the safety code is noticed by the tests that watch for it.

Each mistake is made in a copy of the package and of the tests, never in this tree.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import benchday
from tests.house.mutants import MUTANTS, Mutant

ROOT = Path(__file__).parents[2]
IGNORED = shutil.ignore_patterns("__pycache__", ".hypothesis", ".venv", ".git")


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Copy package and tests; the copies are what the tests in them import."""
    folder = tmp_path_factory.mktemp("copy")
    shutil.copytree(Path(benchday.__file__).parent, folder / "benchday", ignore=IGNORED)
    for name in ("tests", "simulators", "playbooks"):
        shutil.copytree(ROOT / name, folder / name, ignore=IGNORED)
    shutil.copy(ROOT / "pyproject.toml", folder)
    # Many a mistake shows itself by what never comes: that need not be waited for so long.
    shop = folder / "tests" / "bench" / "shop.py"
    text = shop.read_text(encoding="utf-8")
    assert "WITHIN_S = 10.0" in text
    shop.write_text(text.replace("WITHIN_S = 10.0", "WITHIN_S = 4.0"), encoding="utf-8")
    return folder


def run(copy: Path, tests: tuple[str, ...]) -> subprocess.CompletedProcess[str]:
    """Run tests of the copy against the package of the copy."""
    paths = os.pathsep.join(str(copy / part) for part in ("", "simulators", "playbooks"))
    return subprocess.run(
        [sys.executable, "-B", "-m", "pytest", "-x", "-q", "--no-header", "-p", "no:cacheprovider"]
        + [f"tests/{test}" for test in tests],
        cwd=copy,
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def test_the_copy_is_what_is_tested(copy: Path) -> None:
    """Without a mistake all of them pass, on the copied package: what fails below fails for the mistake."""
    (copy / "tests" / "test_where.py").write_text(
        "import benchday\n\n\ndef test_where() -> None:\n"
        f"    assert benchday.__file__ == {str(copy / 'benchday' / '__init__.py')!r}\n",
        encoding="utf-8",
    )
    tests = tuple(sorted({test for mutant in MUTANTS for test in mutant.tests}))
    done = run(copy, ("test_where.py", *tests))
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_a_mistake_is_noticed(mutant: Mutant, copy: Path) -> None:
    """Make one mistake; its tests fail by an assertion, not for want of being run."""
    path = copy / "benchday" / mutant.file
    right = path.read_text(encoding="utf-8")
    assert right.count(mutant.old) == 1, f"{mutant.file} does not hold {mutant.old!r} once: write the mutant anew"
    path.write_text(right.replace(mutant.old, mutant.new), encoding="utf-8")
    try:
        done = run(copy, mutant.tests)
    finally:
        path.write_text(right, encoding="utf-8")

    # pytest's exit status 1: tests ran and failed; others mean that nothing was tried.
    assert done.returncode == 1, f"nobody noticed {mutant.name}:\n{done.stdout}"
    assert "FAILED" in done.stdout
    assert "SyntaxError" not in done.stdout
