"""The rules of a day: what a write is expected to take, and what works together."""

from __future__ import annotations

from decimal import Decimal

from benchday.domain.playbook import Playbook
from benchday.planning.durations import XMODEM_1K_115200
from benchday.planning.rules import expected_write_us
from tests.planning.shop import POINTS, image, playbook

MINUTE_US = 60_000_000


def mean_us(*names: str) -> float:
    """The PERT means of steps, said anew."""
    points = [POINTS[name] for name in names]
    return sum((low + 4 * usual + high) / 6 for low, usual, high in points) * MINUTE_US


def with_own_minutes(shortest: float, usual: float, longest: float) -> Playbook:
    """A playbook that says what the unit itself takes to erase and program."""
    book = playbook(driver={"name": "console", "settings": {"baud": 115200}})
    own = {"shortest": Decimal(shortest), "usual": Decimal(usual), "longest": Decimal(longest)}
    service = [
        step.model_copy(update={"own_minutes": step.minutes.model_copy(update=own)}) if step.step == "write" else step
        for step in book.service
    ]
    return book.model_copy(update={"service": tuple(service)})


def test_the_means_of_write_restart_and_verify() -> None:
    """With an image so small that the line does not matter."""
    assert abs(expected_write_us(playbook(), image("2.9", bytes=1)) - mean_us("write", "restart", "verify")) <= 1


def test_the_line_raises_what_the_playbook_says() -> None:
    """30 MB at 11,453 bytes a second take longer than the longest write; over the web nobody knows the line."""
    large = image("2.9", bytes=30_000_000)
    line_us = 30_000_000 / XMODEM_1K_115200 * 1_000_000

    assert abs(expected_write_us(playbook(), large) - line_us - mean_us("restart", "verify")) <= 2
    by_hand = playbook(driver={"name": "by-hand"})
    assert abs(expected_write_us(by_hand, large) - mean_us("write", "restart", "verify")) <= 1


def test_own_minutes_come_on_top_of_the_transfer() -> None:
    """Four minutes of the unit itself and the time of 3 MB on the line."""
    found = expected_write_us(with_own_minutes(4, 4, 4), image("2.9", bytes=3_000_000))
    line_us = 3_000_000 / XMODEM_1K_115200 * 1_000_000

    assert abs(found - line_us - 4 * MINUTE_US - mean_us("restart", "verify")) <= 2
