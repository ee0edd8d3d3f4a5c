"""The order in which files are given to processors: the longest first, so that none is begun when all else is over."""

from __future__ import annotations

from pathlib import Path

import pytest

LONGEST = (
    "signals/test_signals.py",
    "house/test_mutants.py",
    "safety/test_bench_mutants.py",
    "faults/test_campaign.py",
    "faults/test_storage_copies.py",
    "signals/test_asleep.py",
    "contracts/test_driver_faults_too.py",
    "faults/test_storage.py",
    "contracts/test_driver_faults.py",
    "faults/test_mistakes.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take longest first, as far as they are there; the others stay in their order."""
    turns = {Path(__file__).parent / name: turn for turn, name in enumerate(LONGEST)}
    items.sort(key=lambda item: turns.get(item.path, len(LONGEST)))
