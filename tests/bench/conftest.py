"""The shop that the tests of the bench share; its files are written once."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.inputs.sample import write_sample
from tests.bench.shop import Shop
from tests.inputs.conftest import small_image


@pytest.fixture(scope="session")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> tuple[DayPlan, dict[str, bytes]]:
    """Read the sample day with small images."""
    folder: Path = tmp_path_factory.mktemp("bench") / "day"
    write_sample(folder, 7, build_image=small_image)
    files = {p.name: p.read_bytes() for p in (folder / "images").glob("*.fen")}
    return load_day(folder), files


@pytest.fixture
def shop(inputs: tuple[DayPlan, dict[str, bytes]]) -> Shop:
    """Give a shop whose units are in good order, on 2.9, without recordings."""
    plan, files = inputs
    return Shop(plan, files)
