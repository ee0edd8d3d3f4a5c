"""The days that the tests look at; all begin together, because each spends most of its time waiting."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.days.finished import DemoProcess, FinishedDay

TROUBLE = """\
- unit: "007421530018"
  when: image
  what: cable out
  percent: 40
  seconds: 1
- unit: "WS-41-00297"
  when: image
  what: last acknowledgement lost
- unit: "007421530104"
  when: identify
  what: garbled
"""

PULLED = """\
- unit: "007421530018"
  when: identify
  what: cable out
  seconds: 0.3
- unit: "007421530018"
  when: send
  what: cable out
  percent: 50
  seconds: 0.3
"""


DAYS = {
    "whole": (20, 1, 600, ""),
    "one": (6, 5, 300, ""),
    "other": (6, 5, 450, ""),
    "troubled": (3, 1, 600, "trouble.yaml"),
    "pulled": (1, 1, 600, "pulled.yaml"),
}
"""Units, seed, speed and file of trouble of each."""
ENDS_WITHIN_S = 240
"""A day takes about a minute, and much longer where the processors are busy with other things."""


@pytest.fixture(scope="session")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, DemoProcess]]:
    """Begin every day, once for all processors that the tests run on."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "days"
    try:
        folder.mkdir()
    except FileExistsError:
        yield {name: DemoProcess(folder / name) for name in DAYS}
        return
    (folder / "trouble.yaml").write_text(TROUBLE, encoding="utf-8")
    (folder / "pulled.yaml").write_text(PULLED, encoding="utf-8")
    days = {
        name: DemoProcess.begun(folder / name, units, seed, speed, *_trouble(folder, trouble))
        for name, (units, seed, speed, trouble) in DAYS.items()
    }
    yield days
    for day in days.values():
        day.let_go()


def _trouble(folder: Path, file: str) -> tuple[str, ...]:
    return ("--trouble", str(folder / file)) if file else ()


@pytest.fixture(scope="session")
def day(running: dict[str, DemoProcess]) -> FinishedDay:
    """Give the demo day of 20 units, finished."""
    return running["whole"].finished(ENDS_WITHIN_S)


@pytest.fixture(scope="session")
def pair(running: dict[str, DemoProcess]) -> tuple[FinishedDay, FinishedDay]:
    """Give two finished days of 6 units with the same seed, run at different speeds."""
    return running["one"].finished(ENDS_WITHIN_S), running["other"].finished(ENDS_WITHIN_S)


@pytest.fixture(scope="session")
def troubled(running: dict[str, DemoProcess]) -> FinishedDay:
    """Give a finished day with more trouble."""
    return running["troubled"].finished(ENDS_WITHIN_S)


@pytest.fixture(scope="session")
def pulled(running: dict[str, DemoProcess]) -> FinishedDay:
    """Give a finished day of one unit whose cable comes off, first when it is asked who it is, then during a copy."""
    return running["pulled"].finished(ENDS_WITHIN_S)
