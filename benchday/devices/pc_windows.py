"""The bench PC under Windows. Untried: written from the documentation of GetSystemPowerStatus, GetTickCount64,
QueryUnbiasedInterruptTime and SetThreadExecutionState (values from memory). Whether the clock is set is left to a
person.
"""

from __future__ import annotations

import ctypes
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any

from benchday.devices.pc_parts import PcParts, Supply

ES_CONTINUOUS = 0x80000000
ES_SYSTEM_REQUIRED = 0x00000001
_NOT_KNOWN = 255
_NO_BATTERY = 128

SetState = Callable[[int], int]
"""SetThreadExecutionState: answers 0 where it failed. It counts for the calling thread, which is the loop's."""


class PowerStatus(ctypes.Structure):
    """SYSTEM_POWER_STATUS"""

    _fields_ = (
        ("ac_line", ctypes.c_ubyte),
        ("battery_flag", ctypes.c_ubyte),
        ("percent", ctypes.c_ubyte),
        ("reserved", ctypes.c_ubyte),
        ("seconds_left", ctypes.c_uint32),
        ("seconds_full", ctypes.c_uint32),
    )


def windows() -> PcParts:
    """Make the parts of a Windows PC."""
    wish = AwakeWish(_set_state)
    return PcParts(
        supply=lambda: supply(_power_status()),
        clock_set=lambda: None,
        never_sleeps=lambda: False,
        awake=wish.awake,
        asleep_us=asleep_us,
    )


def asleep_us() -> int | None:
    """Return how long it has slept: GetTickCount64 (ms) goes on meanwhile, QueryUnbiasedInterruptTime (100 ns) not."""
    awake = ctypes.c_uint64()
    if not _kernel32().QueryUnbiasedInterruptTime(ctypes.byref(awake)):
        return None
    since_start = _kernel32().GetTickCount64
    since_start.restype = ctypes.c_uint64
    return int(since_start()) * 1000 - awake.value // 10


def supply(status: PowerStatus | None) -> Supply:
    """Read what Windows says of the supply."""
    if status is None:
        return Supply(None, None, None)

    on_mains = {0: False, 1: True}.get(status.ac_line)
    has_battery = status.battery_flag != _NOT_KNOWN and not status.battery_flag & _NO_BATTERY
    left_known = has_battery and status.seconds_left != 0xFFFFFFFF
    return Supply(
        on_mains=on_mains,
        percent=status.percent if has_battery and status.percent <= 100 else None,
        minutes=status.seconds_left // 60 if left_known and on_mains is False else None,
    )


class AwakeWish:
    """Counts who wants the computer awake; the last one to go lets it sleep again."""

    def __init__(self, set_state: SetState) -> None:
        self._set_state = set_state
        self._wishes = 0

    @asynccontextmanager
    async def awake(self, _: str) -> AsyncIterator[bool]:
        """Keep the computer awake while the context is open."""
        self._wishes += 1
        try:
            yield self._set_state(ES_CONTINUOUS | ES_SYSTEM_REQUIRED) != 0
        finally:
            self._wishes -= 1
            if self._wishes == 0:
                self._set_state(ES_CONTINUOUS)


def _kernel32() -> Any:
    return getattr(ctypes, "windll").kernel32  # noqa: B009 - the attribute exists on Windows only


def _set_state(flags: int) -> int:
    return int(_kernel32().SetThreadExecutionState(ctypes.c_uint32(flags)))


def _power_status() -> PowerStatus | None:
    status = PowerStatus()
    return status if _kernel32().GetSystemPowerStatus(ctypes.byref(status)) else None
