"""What a shop is made of, shared by the tests of this folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.inputs.sample import write_sample
from tests.inputs.conftest import small_image
from tests.safety.watched import WatchedShop


class Stock:
    """Inputs and image files; a shop is made of them anew as often as one is wanted."""

    def __init__(self, plan: DayPlan, files: dict[str, bytes]) -> None:
        self._plan, self._files = plan, files

    def shop(self) -> WatchedShop:
        """Make a shop."""
        return WatchedShop(self._plan, self._files)


@pytest.fixture(scope="session")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Stock:
    """Give the sample day's inputs with small images."""
    folder: Path = tmp_path_factory.mktemp("safety") / "day"
    write_sample(folder, 7, build_image=small_image)
    return Stock(load_day(folder), {p.name: p.read_bytes() for p in (folder / "images").glob("*.fen")})
