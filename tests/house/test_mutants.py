"""The tests can fail: each deliberate mistake in the safety code is noticed by the tests that watch for it.

Each mistake is made in a copy of the package and of the tests, never in this tree.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.house.mutants import MUTANTS, Mutant
from tests.house.mutating import Copy


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Copy]:
    """Copy package and tests."""
    made = Copy(tmp_path_factory.mktemp("copy"))
    try:
        # Many a mistake shows itself by what never comes: that need not be waited for so long.
        shop = made.folder / "tests" / "bench" / "shop.py"
        text, found = re.subn(r"(?m)^WITHIN_S = \d+(\.\d+)?$", "WITHIN_S = 8.0", shop.read_text(encoding="utf-8"))
        assert found == 1
        shop.write_text(text, encoding="utf-8")
        yield made
    finally:
        made.close()


def test_the_copy_is_what_is_tested(copy: Copy) -> None:
    """Without a mistake all of them pass, on the copied package: what fails below fails for the mistake."""
    (copy.folder / "tests" / "test_where.py").write_text(
        "import benchday\n\n\ndef test_where() -> None:\n"
        f"    assert benchday.__file__ == {str(copy.folder / 'benchday' / '__init__.py')!r}\n",
        encoding="utf-8",
    )
    tests = sorted({test for mutant in MUTANTS for test in mutant.tests})
    done = copy.run("tests/test_where.py", *(f"tests/{test}" for test in tests))
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_a_mistake_is_noticed(mutant: Mutant, copy: Copy) -> None:
    """Make one mistake; its tests fail by an assertion, not for want of being run."""
    with made_in(copy.folder, mutant):
        done = copy.run(*(f"tests/{test}" for test in mutant.tests))

    # pytest's exit status 1: tests ran and failed; others mean that nothing was tried.
    assert done.returncode == 1, f"nobody noticed {mutant.name}:\n{done.stdout}"
    assert "FAILED" in done.stdout
    assert "SyntaxError" not in done.stdout


@contextmanager
def made_in(folder: Path, mutant: Mutant) -> Iterator[None]:
    """Make one mistake in a copy, and put it right afterwards."""
    path = folder / "benchday" / mutant.file
    right, stat = path.read_text(encoding="utf-8"), path.stat()
    assert right.count(mutant.old) == 1, f"{mutant.file} does not hold {mutant.old!r} once: write the mutant anew"
    path.write_text(right.replace(mutant.old, mutant.new), encoding="utf-8")
    try:
        yield
    finally:
        path.write_text(right, encoding="utf-8")
        # What was compiled of it holds again.
        os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
