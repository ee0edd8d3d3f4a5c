"""The bench PC under macOS. Untried: written from the manual pages of pmset(1), caffeinate(8) and clock_gettime(3).

Whether the clock is set is not told without more rights, so that a person is asked.
"""

from __future__ import annotations

import re
import subprocess
import time

from benchday.devices.pc_awake import kept_awake_by
from benchday.devices.pc_parts import PcParts, Supply

TOLD_WITHIN_S = 5.0


def mac() -> PcParts:
    """Make the parts of a Mac."""
    return PcParts(
        supply=lambda: supply(_pmset()),
        clock_set=lambda: None,
        never_sleeps=lambda: False,
        awake=lambda _: kept_awake_by(("caffeinate", "-i", "-s")),
        asleep_us=asleep_us,
    )


def asleep_us() -> int | None:
    """Return how long it has slept: CLOCK_MONOTONIC goes on in a sleep there, CLOCK_UPTIME_RAW does not."""
    uptime = getattr(time, "CLOCK_UPTIME_RAW", None)
    if uptime is None:
        return None
    awake_ns = time.clock_gettime_ns(uptime)
    return (time.clock_gettime_ns(time.CLOCK_MONOTONIC) - awake_ns) // 1000


def supply(told: str) -> Supply:
    """Read what ``pmset -g batt`` says (its form from memory)."""
    source = re.search(r"drawing from '([^']+)'", told)
    percent = re.search(r"(\d{1,3})%", told)
    left = re.search(r"(\d{1,3}):(\d{2}) remaining", told)
    on_mains = None if source is None else source[1] == "AC Power"
    return Supply(
        on_mains=on_mains,
        percent=min(100, int(percent[1])) if percent else None,
        minutes=int(left[1]) * 60 + int(left[2]) if left and on_mains is False else None,
    )


def _pmset() -> str:
    try:
        done = subprocess.run(["pmset", "-g", "batt"], capture_output=True, timeout=TOLD_WITHIN_S, check=False)  # noqa: S607 - found on PATH as any command of the system
    except (OSError, subprocess.TimeoutExpired):
        return ""

    return done.stdout.decode("utf-8", "replace")
