"""The bench PC under Linux: supply and sleep from sysfs, the clock from the kernel, awake by systemd.

Sources: the kernel's Documentation/ABI/testing/sysfs-class-power and sysfs-power, adjtimex(2), clock_gettime(2),
systemd-inhibit(1), logind.conf(5).
"""

from __future__ import annotations

import ctypes
import time
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from functools import partial
from pathlib import Path

from benchday.devices.pc_awake import kept_awake_by
from benchday.devices.pc_parts import PcParts, Supply

SUPPLIES = Path("/sys/class/power_supply")
SLEEPS = Path("/sys/power/state")
TIME_ERROR = 5
"""adjtimex(2): the clock is not synchronised."""
NEVER_BEFORE_S = 1_735_689_600
"""2025-01-01 UTC: a clock that says less has lost its battery."""
_ROOM_FOR_TIMEX = 1024
"""More than any machine's struct timex; all zeros asks to change nothing."""


def linux(supplies: Path = SUPPLIES, sleeps: Path = SLEEPS) -> PcParts:
    """Make the parts of a Linux PC."""
    return PcParts(
        supply=partial(supply, supplies),
        clock_set=clock_set,
        never_sleeps=partial(never_sleeps, sleeps),
        awake=_awake,
        asleep_us=asleep_us,
    )


@asynccontextmanager
async def _awake(why: str) -> AsyncIterator[bool]:
    # logind.conf(5): a closed lid heeds no inhibitor but its own, which not everybody is allowed.
    async with AsyncExitStack() as held:
        for what in ("sleep:idle:handle-lid-switch", "sleep:idle"):
            command = ("systemd-inhibit", f"--what={what}", "--who=benchday", f"--why={why}", "--mode=block")
            if await held.enter_async_context(kept_awake_by(command)):
                yield True
                return
        yield False


def asleep_us() -> int | None:
    """Return how long the computer has slept: CLOCK_BOOTTIME goes on in a suspend, CLOCK_MONOTONIC does not."""
    # Read one after the other: some microseconds too many each time, never too few.
    mono_ns = time.clock_gettime_ns(time.CLOCK_MONOTONIC)
    return (time.clock_gettime_ns(time.CLOCK_BOOTTIME) - mono_ns) // 1000


def supply(folder: Path) -> Supply:
    """Read where the power comes from out of a folder like /sys/class/power_supply."""
    if not folder.is_dir():
        return Supply(None, None, None)

    sources = [source for source in sorted(folder.iterdir()) if _read(source, "scope") != "Device"]
    batteries = [s for s in sources if _read(s, "type") == "Battery" and _read(s, "present") != "0"]
    mains = [s for s in sources if _read(s, "type") in ("Mains", "USB")]
    on_mains = _on_mains(mains, batteries)
    percent = [p for p in (_number(b, "capacity") for b in batteries) if p is not None]
    minutes = [m for m in map(_minutes, batteries) if m is not None]
    return Supply(
        on_mains=on_mains,
        percent=min(100, max(0, sum(percent) // len(percent))) if percent else None,
        minutes=sum(minutes) if minutes and not on_mains else None,
    )


def clock_set(ask: Callable[[], int | None] | None = None, wall_s: Callable[[], float] = time.time) -> bool | None:
    """Tell whether the clock is set; None where nothing synchronises it, as on a bench without network: look at it."""
    if wall_s() < NEVER_BEFORE_S:
        return False
    answer = (ask or _adjtimex)()
    return None if answer is None or answer < 0 or answer == TIME_ERROR else True


def never_sleeps(state: Path) -> bool:
    """Tell whether the kernel was built, or is run, without any sleep."""
    try:
        return not state.read_text(encoding="ascii").strip()
    except OSError:
        return False


def _on_mains(mains: list[Path], batteries: list[Path]) -> bool | None:
    if mains:
        online = [_number(source, "online") for source in mains]
        if any(online):
            return True
        return None if None in online else False
    if not batteries:
        # A computer that runs and has no battery runs on mains.
        return True

    states = {_read(battery, "status") for battery in batteries}
    if "Discharging" in states:
        return False
    return True if states <= {"Charging", "Full", "Not charging"} else None


def _minutes(battery: Path) -> int | None:
    """Return how long a battery lasts: as it says itself, or from what is left and what is drawn."""
    seconds = _number(battery, "time_to_empty_now")
    if seconds:
        return seconds // 60
    for left, drawn in (("energy_now", "power_now"), ("charge_now", "current_now")):
        have, rate = _number(battery, left), _number(battery, drawn)
        if have is not None and rate:
            return have * 60 // abs(rate)

    return None


def _number(source: Path, name: str) -> int | None:
    text = _read(source, name)
    try:
        return int(text)
    except ValueError:
        return None


def _read(source: Path, name: str) -> str:
    try:
        return (source / name).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return ""


def _adjtimex() -> int | None:
    try:
        ask = ctypes.CDLL(None).adjtimex
    except (OSError, AttributeError):
        return None

    return int(ask(ctypes.create_string_buffer(_ROOM_FOR_TIMEX)))
