"""What a shop is made of, shared by the tests of this folder."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchday.domain.plan import DayPlan
from benchday.inputs.day import load_day
from benchday.inputs.sample import write_sample
from tests.inputs.conftest import small_image
from tests.safety.watched import WatchedShop

ROOT = Path(__file__).parents[2]
KILLS_SEED = 20260616


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


@pytest.fixture(scope="session")
def kills(tmp_path_factory: pytest.TempPathFactory) -> Iterator[subprocess.Popen[str]]:
    """Give the program that kills days; of its own, because it forks, and a test runner is no good parent."""
    folder = tmp_path_factory.mktemp("kills")
    command = [sys.executable, "-m", "tests.safety.all_kills", str(folder), "--chosen", str(KILLS_SEED)]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT)
    yield running
    if running.poll() is None:
        running.kill()
    running.communicate()


@pytest.fixture(scope="session", autouse=True)
def kills_begin_early(request: pytest.FixtureRequest) -> None:
    """Let it run beside the tests of this folder, where its result is waited for at all.

    Of several processors each knows all tests, and none which of them it will get: there it begins when asked for.
    """
    several = hasattr(request.config, "workerinput")
    if not several and any("kills" in getattr(item, "fixturenames", ()) for item in request.session.items):
        request.getfixturevalue("kills")
