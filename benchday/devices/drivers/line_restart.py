"""A restart over a serial line whose port may go away with the unit, and come back."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import NamedTuple

import anyio

from benchday.devices.transfer import Monotonic
from benchday.domain.errors import (
    AnotherUnit,
    DeviceError,
    Garbled,
    LinkBusy,
    LinkForbidden,
    LinkGone,
    LinkNotFound,
    LinkSilent,
    Refused,
)


class Reached(NamedTuple):
    """Who answers on a line that was opened anew."""

    serial: str
    runs: bool
    """Whether it says that it runs: not that it stands in its boot loader, where it may be flashing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRestart:
    """What a driver says, and how it finds its unit again."""

    serial: str
    within_s: float
    """Real seconds until it must be up."""
    clock: Monotonic
    poll_s: float
    """Real seconds between two tries to reach it."""
    tell: Callable[[], Awaitable[None]]
    """Asks for the restart; returns when the unit has said that it will."""
    wait: Callable[[int], Awaitable[str]]
    """Waits until it is up, on the line that stayed, until this time of the clock; returns the serial that answers."""
    reach: Callable[[], Awaitable[Reached]]
    """Opens the line anew by its stable name, and asks who answers; the name alone proves nothing."""

    async def run(self) -> None:
        """Restart the unit; return when it is up again.

        A line that goes before the unit has said that it will restart tells nothing: a plug was moved, or the unit took
        its port with it. So a unit that says that it runs is asked once more. To start twice does it no harm; to take a
        unit for restarted that was not would. If the line goes at the word a second time, then it goes with the unit.

        Raises:
            AnotherUnit: another one answers where the unit was.
            LinkSilent, Garbled, Refused: it did not say that it would restart, or did not come back in time.
        """
        until_us = self.clock() + round(self.within_s * 1e6)
        if await self._told(until_us):
            return
        try:
            await self._told(until_us)
        except Refused:
            # It answers, and takes no restart now: what it runs is read back next.
            return

    async def _told(self, until_us: int) -> bool:
        """Return whether nothing more is to be said: it said that it will restart, or is in its boot loader."""
        will = False
        try:
            await self.tell()
            will = True
            answered = Reached(await self.wait(until_us), runs=True)
        except LinkGone:
            answered = await self._found_again(until_us)
        if answered.serial != self.serial:
            other = answered.serial or "(no serial told)"
            raise AnotherUnit(f"where unit {self.serial} was, unit {other} answers now: was it swapped?")
        return will or not answered.runs

    async def _found_again(self, until_us: int) -> Reached:
        missing: DeviceError = LinkGone("its port went away")
        while self.clock() < until_us:
            try:
                return await self.reach()
            except (LinkNotFound, LinkForbidden, LinkBusy, LinkSilent, LinkGone, Garbled, Refused) as error:
                missing = error
                await anyio.sleep(self.poll_s)
        raise LinkSilent(f"unit {self.serial} did not come back in {self.within_s:g} s: {missing}") from missing
