"""The shop that the tests of the bench share; its files are written once."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.inputs.sample import write_sample
from tests.bench.shop import Shop
from tests.inputs.conftest import small_image


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the sample day with small images; nobody changes this one."""
    folder: Path = tmp_path_factory.mktemp("bench") / "day"
    write_sample(folder, 7, build_image=small_image)
    return folder


@pytest.fixture
def day(sample: Path, tmp_path: Path) -> Path:
    """Give a copy of the sample day that a test may edit."""
    return Path(shutil.copytree(sample, tmp_path / "day"))


@pytest.fixture(scope="session")
def inputs(sample: Path) -> tuple[DayPlan, dict[str, bytes]]:
    """Read the sample day."""
    return load_day(sample), {p.name: p.read_bytes() for p in (sample / "images").glob("*.fen")}


@pytest.fixture
def shop(inputs: tuple[DayPlan, dict[str, bytes]]) -> Shop:
    """Give a shop whose units are in good order, on 2.9, without recordings; no supplier tells their support terms."""
    plan, files = inputs
    return Shop(replace(plan, terms=None), files)
