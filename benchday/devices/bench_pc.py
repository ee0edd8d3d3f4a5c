"""The computer that the program runs on: its supply, its clock, and keeping it awake while a unit is written.

What cannot be told is None, which the check before a write turns into a question for a person; nothing here raises.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager

import anyio.to_thread

from benchday.devices.pc_awake import kept_awake_by_nothing
from benchday.devices.pc_linux import linux
from benchday.devices.pc_mac import mac
from benchday.devices.pc_parts import PcParts, Supply
from benchday.devices.pc_windows import windows
from benchday.domain.seams import PcState


class ThisPc:
    """The bench PC, made of the parts that its system offers."""

    def __init__(self, parts: PcParts) -> None:
        self._parts = parts

    async def state(self) -> PcState:
        """Read power and clock, and try whether it can be kept awake."""
        supply = await anyio.to_thread.run_sync(self._parts.supply)
        clock_set = await anyio.to_thread.run_sync(self._parts.clock_set)
        return PcState(
            on_mains=supply.on_mains,
            battery_percent=supply.percent,
            battery_minutes=supply.minutes,
            clock_set=clock_set,
            # Tried before every write: what lets programs inhibit sleep may have gone since the last.
            sleep_inhibited=await self._try_staying_awake(),
        )

    def asleep_us(self) -> int | None:
        """Return how long it has slept since it was started, microseconds; None where that cannot be told."""
        return self._parts.asleep_us()

    def inhibit_sleep(self, why: str) -> AbstractAsyncContextManager[bool]:
        """Keep the computer awake while the context is open; yields whether that could be done."""
        return self._parts.awake(why)

    async def _try_staying_awake(self) -> bool | None:
        if await anyio.to_thread.run_sync(self._parts.never_sleeps):
            return True
        async with self._parts.awake("benchday asks whether sleep can be inhibited") as done:
            # That it failed does not mean that the computer will sleep: a person knows its settings.
            return True if done else None


def _unknown() -> PcParts:
    """Make the parts of a system that nothing is known of."""
    return PcParts(
        supply=lambda: Supply(None, None, None),
        clock_set=lambda: None,
        never_sleeps=lambda: False,
        awake=kept_awake_by_nothing,
    )


SYSTEMS: dict[str, Callable[[], PcParts]] = {"linux": linux, "darwin": mac, "win32": windows}
"""``sys.platform`` -> its parts. Only Linux has been tried; the others were written from their manuals."""


def steady_pc() -> ThisPc:
    """Make a bench PC that stands well whatever this computer does, so that simulated days are equal everywhere."""
    return ThisPc(
        PcParts(
            supply=lambda: Supply(on_mains=True, percent=None, minutes=None),
            clock_set=lambda: True,
            never_sleeps=lambda: True,
            awake=kept_awake_by_nothing,
            # That it slept is told all the same: the simulated instruments waited meanwhile.
            asleep_us=SYSTEMS.get(sys.platform, _unknown)().asleep_us,
        )
    )


def this_pc() -> ThisPc:
    """Make the bench PC that this program runs on."""
    return ThisPc(SYSTEMS.get(sys.platform, _unknown)())
