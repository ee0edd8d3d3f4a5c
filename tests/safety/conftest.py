"""What a shop is made of, shared by the tests of this folder."""

from __future__ import annotations

import pytest

from benchday.domain.plan import DayPlan
from tests.bench.conftest import inputs
from tests.safety.watched import WatchedShop

__all__ = ["inputs"]


class Stock:
    """Inputs and image files; a shop is made of them anew as often as one is wanted."""

    def __init__(self, plan: DayPlan, files: dict[str, bytes]) -> None:
        self._plan, self._files = plan, files

    def shop(self) -> WatchedShop:
        """Make a shop."""
        return WatchedShop(self._plan, self._files)


@pytest.fixture(scope="session")
def stock(inputs: tuple[DayPlan, dict[str, bytes]]) -> Stock:
    """Give the sample day's inputs with small images."""
    return Stock(*inputs)
