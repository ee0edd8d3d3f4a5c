"""What the tests of the record share."""

from pathlib import Path

import pytest

from benchday.testing.clock import ManualClock


@pytest.fixture
def clock() -> ManualClock:
    """Return a clock that stands still."""
    return ManualClock()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return where the record of a test goes; it does not exist yet."""
    return tmp_path / "record"
