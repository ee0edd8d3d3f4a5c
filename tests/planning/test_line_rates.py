"""What a line carries: held against the drivers' own framing, and used wherever a unit's line is known."""

from __future__ import annotations

import pytest

from benchday.devices.drivers.smp_frames import framed
from benchday.domain.playbook import Playbook, StepName
from benchday.domain.words import microseconds
from benchday.planning.durations import Load, xmodem_1k_rate
from benchday.planning.forecast.stages import playbook_laws
from benchday.planning.line_rates import SMP_ANSWER, line_of, load_of, smp_line, smp_line_bytes
from benchday.planning.rules import expected_write_us
from tests.devices.declared import gantry, playbook_of, shipped_text
from tests.planning.shop import image

WHERRY = playbook_of(shipped_text("wherry"))


def over_wifi() -> Playbook:
    """Return the same receiver's playbook, served over its network."""
    text = shipped_text("wherry").replace("connector: usb", "connector: null\nwifi: true")
    return playbook_of(text.replace("occupies: [cable", "occupies: [adapter"))


@pytest.mark.parametrize("size", [18, 26, 91, 92, 384, 1020, 1024, 2048, 8192])
def test_a_message_on_the_line(size: int) -> None:
    """As many bytes as the driver's own framing sends."""
    assert smp_line_bytes(size) == len(framed(bytes(size)))


def test_smp_on_a_line() -> None:
    """Pieces of a message one under way at a time: 998 bytes for 1,415 and the answer's 35."""
    line = smp_line(115_200, 1024)
    assert line.block_bytes == 998
    assert line.bytes_per_second == pytest.approx(
        998 * 11_520 / (len(framed(bytes(1024))) + len(framed(bytes(SMP_ANSWER))))
    )
    assert line_of(WHERRY) == line
    assert smp_line(19_200, 1024).bytes_per_second == pytest.approx(line.bytes_per_second / 6)


def test_who_knows_what_a_line_carries() -> None:
    assert line_of(over_wifi()) is None
    assert load_of(over_wifi(), (5,), 7) == Load((5,), 7, None)
    known = line_of(gantry())
    assert known is not None
    assert (known.bytes_per_second, known.block_bytes) == (xmodem_1k_rate(19_200), 1024)


def test_no_write_is_foreseen_faster_than_its_line() -> None:
    """Three points of a playbook that are too short for the image are moved up; over a network they hold."""
    large = 6_000_000
    least_minutes = load_of(WHERRY, (large,), 0).line_us(large) / 60_000_000
    assert 12 < least_minutes < 13
    for book, shortest in ((WHERRY, least_minutes), (over_wifi(), 0.5)):
        law = playbook_laws("Wherry", book, load_of(book, (large,), 0))[StepName.WRITE]
        assert law.shortest == pytest.approx(shortest)  # type: ignore[attr-defined]
    fast, slow = (expected_write_us(WHERRY, image("1.4.0", bytes=size)) for size in (1000, large))
    assert slow - fast > microseconds(WHERRY.step(StepName.WRITE).minutes.usual)
