"""Every driver under every fault keeps what is promised: a matrix met once for each kind of bed, told cell by cell."""

from __future__ import annotations

from functools import cache

import anyio
import pytest

from benchday.devices.drivers.installed import installed_drivers
from benchday.testing.driver_faults import Cell, Met, cells, meet
from tests.contracts.fault_beds import KINDS, bed_of


def matrix(name: str) -> tuple[Cell, ...]:
    """Return the cells of one kind of bed, by what its driver can do."""
    kind = KINDS[name]
    (known,) = (driver for driver in installed_drivers() if driver.name == kind.driver)
    return cells(kind.way, kind.can or known.capabilities or ())


@cache
def outcomes(name: str) -> dict[Cell, Met]:
    """Meet the whole matrix of one kind of bed, most of it at once: what takes long is waiting."""

    async def run() -> tuple[Met, ...]:
        return await meet(bed_of(name), KINDS[name].way, matrix(name))

    return {met.cell: met for met in anyio.run(run)}


@pytest.mark.parametrize(("bed", "cell"), [(bed, cell) for bed in KINDS for cell in matrix(bed)], ids=str)
def test_cell(bed: str, cell: Cell) -> None:
    """Ends in time, holds no flood, takes nothing wrong for success, and works again afterwards."""
    met = outcomes(bed)[cell]
    assert met.broken is None, f"{cell}: {met.broken} (it ended with: {met.ended})"
