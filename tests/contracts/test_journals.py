"""Every journal keeps every promise of its seam."""

from pathlib import Path

import pytest

from benchday.domain.seams import Journal
from benchday.record.journal import open_journal
from benchday.record.memory import MemoryJournal
from benchday.testing.clock import ManualClock
from benchday.testing.journals import CHECKS, KEY, Check, MakeJournal


@pytest.fixture(params=["sqlite", "memory"])
def make(request: pytest.FixtureRequest, tmp_path: Path) -> MakeJournal:
    """Return a maker of each implementation."""

    async def in_sqlite(clock: ManualClock) -> Journal:
        return open_journal(tmp_path / "record", "b1", clock, simulated=True, simulator_key=KEY)

    async def in_memory(clock: ManualClock) -> Journal:
        return MemoryJournal("b1", clock, simulator_key=KEY)

    return in_sqlite if request.param == "sqlite" else in_memory


@pytest.mark.asyncio
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
async def test_keeps_the_promise(check: Check, make: MakeJournal) -> None:
    """Each check of the public suite holds."""
    await check(make)
