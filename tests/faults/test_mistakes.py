"""The campaign can fail: mistakes that only killed and troubled days show are noticed by its checker."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.mistakes import MISTAKES
from tests.house.mutants import Mutant
from tests.house.mutating import Copy
from tests.house.test_mutants import made_in


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Copy]:
    """Copy package and tests."""
    made = Copy(tmp_path_factory.mktemp("copy"))
    yield made
    made.close()


@pytest.mark.parametrize("mutant", MISTAKES, ids=lambda mutant: mutant.name)
def test_a_mistake_gives_an_alarm(mutant: Mutant, copy: Copy, tmp_path: Path) -> None:
    """It says what is wrong, and not merely that something is."""
    with made_in(copy.folder, mutant):
        done = copy.module("tests.faults.campaign", str(tmp_path / "campaign"), *mutant.campaign)
    assert done.returncode == 1, f"nobody noticed {mutant.name}:\n{done.stdout}"
    assert mutant.says in done.stdout
