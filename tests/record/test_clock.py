"""Day time."""

import time

import anyio
import pytest

from benchday.record.clock import DayClock
from benchday.testing.clock import NOON_US, ManualClock

pytestmark = pytest.mark.asyncio


async def test_without_an_anchor_it_is_utc() -> None:
    """At speed 1 and with no anchor, day time is the computer's UTC at the start."""
    before = time.time_ns() // 1000
    clock = DayClock()
    now, wall = clock.now(), clock.wall()
    after = time.time_ns() // 1000
    assert before <= now <= after
    assert before <= wall <= after


async def test_speed_multiplies_real_time() -> None:
    """Day time = anchor + speed x real time, to the microsecond between two looks."""
    clock = DayClock(NOON_US, speed_milli=60_000)
    earlier = clock.monotonic()
    elapsed = clock.now() - NOON_US
    later = clock.monotonic()
    assert elapsed >= 0
    await clock.wait_until(NOON_US + 600_000)
    assert clock.now() >= NOON_US + 600_000
    assert clock.monotonic() - earlier >= 9_000
    assert later >= earlier


async def test_what_is_over_is_not_waited_for() -> None:
    """A moment in the past returns, after giving others their turn."""
    clock = DayClock(NOON_US)
    with anyio.fail_after(1):
        await clock.wait_until(0)


async def test_a_speed_of_nothing_is_refused() -> None:
    """Time has to move."""
    with pytest.raises(ValueError, match="at least 1 thousandth, got 0"):
        DayClock(speed_milli=0)


async def test_manual_time_moves_only_when_told() -> None:
    """Waiters wake in order of their moments, and no earlier."""
    clock, woken = ManualClock(), list[int]()

    async def wait(after_us: int) -> None:
        await clock.wait_until(NOON_US + after_us)
        woken.append(after_us)

    async with anyio.create_task_group() as tasks:
        for after_us in (300, 100, 200, 0):
            tasks.start_soon(wait, after_us)
        assert await clock.jump()
        assert (clock.now(), clock.wall(), clock.monotonic()) == (NOON_US + 100, NOON_US + 100, 100)
        await anyio.wait_all_tasks_blocked()
        assert woken == [0, 100]
        clock.advance(250)
    assert woken == [0, 100, 200, 300]
    assert not await clock.jump()
    with pytest.raises(ValueError, match="does not go back"):
        clock.advance(-1)


async def test_manual_time_forgets_who_gave_up() -> None:
    """A cancelled waiter does not make time jump."""
    clock = ManualClock()
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(clock.wait_until, NOON_US + 5)
        await anyio.lowlevel.checkpoint()
        await anyio.lowlevel.checkpoint()
        tasks.cancel_scope.cancel()
    assert not await clock.jump()
    assert clock.now() == NOON_US


async def test_a_day_passes_at_once() -> None:
    """With ``run`` beside it, whatever waits for day time goes on as soon as everybody waits."""
    clock, steps = ManualClock(), list[int]()
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(clock.run)
        for hour in range(1, 9):
            await clock.wait_until(NOON_US + hour * 3_600_000_000)
            steps.append(clock.now() - NOON_US)
        tasks.cancel_scope.cancel()
    assert steps == [hour * 3_600_000_000 for hour in range(1, 9)]


async def test_a_sleep_of_the_computer_passes_for_a_permit_and_on_a_real_day() -> None:
    """The monotonic clock of the system stands still in a sleep; that of the day does not, and never steps back."""
    asleep = {"us": 5_000_000}
    real = DayClock(asleep_us=lambda: asleep["us"])
    simulated = DayClock(0, 1000, asleep_us=lambda: asleep["us"], stands_still=True)
    before = (real.now(), real.monotonic(), simulated.now(), simulated.monotonic())
    asleep["us"] += 3_600_000_000
    after = (real.now(), real.monotonic(), simulated.now(), simulated.monotonic())
    passed = [(b - a) // 60_000_000 for a, b in zip(before, after, strict=True)]
    assert passed == [60, 60, 0, 60]
    asleep["us"] -= 900_000
    assert real.monotonic() >= after[1]
