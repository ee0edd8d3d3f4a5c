"""A right day to spoil, written once and copied for each test."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from benchday.domain.errors import Mistake
from benchday.domain.scenario import Scenario
from benchday.inputs.day import read_day
from benchday.inputs.sample import write_sample


def small_image(
    *, model: str, version: str, hardware: list[str], payload_bytes: int, seed: int, enter_from: str
) -> bytes:
    """Build a stand-in for an image: small, and different for each release."""
    head = f"{model} {version} {' '.join(hardware)} {enter_from} {payload_bytes}\n"
    return head.encode() + random.Random(f"{seed}{head}").randbytes(500)


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Scenario]:
    """Write the sample day; nobody changes this one."""
    folder = tmp_path_factory.mktemp("sample") / "day"
    return folder, write_sample(folder, 7, build_image=small_image)


@pytest.fixture
def day(written: tuple[Path, Scenario], tmp_path: Path) -> Path:
    """Give a copy of the sample day that a test may spoil."""
    return Path(shutil.copytree(written[0], tmp_path / "day"))


Spoil = Callable[[str, str, str], None]


@pytest.fixture
def spoil(day: Path) -> Spoil:
    """Give a function that puts one text in place of another in a file of the day, once."""

    def put(name: str, old: str, new: str) -> None:
        text = (day / name).read_text(encoding="utf-8")
        assert old in text, f"{name} does not hold {old!r}"
        (day / name).write_text(text.replace(old, new, 1), encoding="utf-8")

    return put


def mistakes_of(folder: Path) -> list[Mistake]:
    """Return a day's mistakes."""
    return list(read_day(folder).mistakes)
