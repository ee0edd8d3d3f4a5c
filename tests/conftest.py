"""Which tests stay together when the suite runs on several processors at once (``pytest -n 2 --dist loadgroup``)."""

from __future__ import annotations

from pathlib import Path

import pytest

TOGETHER = {"days": "the days that all of them look at run once"}
"""Folders whose tests share what takes long to make, and why."""
APART = {"test_mutants.py", "test_bench_mutants.py"}
"""Files whose tests take long, each by itself, and share nothing."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep a file's tests together, so that its fixtures are made once, unless it is better otherwise."""
    for item in items:
        item.add_marker(pytest.mark.xdist_group(_group(item)))


def _group(item: pytest.Item) -> str:
    path = Path(item.path)
    if path.parent.name in TOGETHER:
        return path.parent.name
    if path.name in APART:
        return item.nodeid
    if path.name == "test_driver_faults.py":
        # All cells of a bed are met in one go, the beds beside each other.
        return item.name.partition("-")[0]
    return str(path)
