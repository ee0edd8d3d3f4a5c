"""The days that the tests look at; all begin together, because each spends most of its time waiting."""

from __future__ import annotations

from collections.abc import Iterator

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


@pytest.fixture(scope="session")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, DemoProcess]]:
    """Begin every day."""
    folder = tmp_path_factory.mktemp("days")
    trouble, pulled = folder / "trouble.yaml", folder / "pulled.yaml"
    trouble.write_text(TROUBLE, encoding="utf-8")
    pulled.write_text(PULLED, encoding="utf-8")
    days = {
        "whole": DemoProcess.begun(folder / "whole", 20, 1, 600),
        "one": DemoProcess.begun(folder / "one", 6, 5, 600),
        "other": DemoProcess.begun(folder / "other", 6, 5, 900),
        "troubled": DemoProcess.begun(folder / "troubled", 3, 1, 600, "--trouble", str(trouble)),
        "pulled": DemoProcess.begun(folder / "pulled", 1, 1, 600, "--trouble", str(pulled)),
    }
    yield days
    for day in days.values():
        if day.process.poll() is None:
            day.process.kill()
        # Also of one that ended and that no test of this processor asked for.
        day.process.communicate()


@pytest.fixture(scope="session")
def day(running: dict[str, DemoProcess]) -> FinishedDay:
    """Give the demo day of 20 units, finished."""
    return running["whole"].finished(90)


@pytest.fixture(scope="session")
def pair(running: dict[str, DemoProcess]) -> tuple[FinishedDay, FinishedDay]:
    """Give two finished days of 6 units with the same seed, run at different speeds."""
    return running["one"].finished(90), running["other"].finished(90)


@pytest.fixture(scope="session")
def troubled(running: dict[str, DemoProcess]) -> FinishedDay:
    """Give a finished day with more trouble."""
    return running["troubled"].finished(90)


@pytest.fixture(scope="session")
def pulled(running: dict[str, DemoProcess]) -> FinishedDay:
    """Give a finished day of one unit whose cable comes off, first when it is asked who it is, then during a copy."""
    return running["pulled"].finished(90)
