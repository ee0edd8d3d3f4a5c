"""Every driver under every fault keeps what is promised, told cell by cell: one half of the kinds of beds."""

from __future__ import annotations

import pytest

from benchday.testing.driver_faults import Cell
from tests.contracts.fault_beds import HALVES, assert_met, matrix


@pytest.mark.parametrize(("bed", "cell"), [(bed, cell) for bed in HALVES[0] for cell in matrix(bed)], ids=str)
def test_cell(bed: str, cell: Cell) -> None:
    """Ends in time, holds no flood, takes nothing wrong for success, and works again afterwards."""
    assert_met(bed, cell)
