"""A sample day with small images, written once and copied for each test."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from benchday.inputs.sample import write_sample
from tests.inputs.conftest import small_image


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the sample day; nobody changes this one."""
    folder = tmp_path_factory.mktemp("cli") / "day"
    write_sample(folder, 7, build_image=small_image)
    return folder


@pytest.fixture
def day(sample: Path, tmp_path: Path) -> Path:
    """Give a copy of the sample day that a test may run and spoil."""
    return Path(shutil.copytree(sample, tmp_path / "day"))
