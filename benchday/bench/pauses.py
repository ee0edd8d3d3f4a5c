"""The bench PC sleeps, or the program is stopped, while a unit waits: noticed, recorded and told.

A computer that slept finds every time limit passed at once. So whoever judges a silence asks here first whether the
program itself was away, and looks again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import anyio

from benchday.domain.items import Item, ItemKind
from benchday.domain.kinds import PcSlept
from benchday.domain.steps import NO_SAFE_STOP
from benchday.domain.telling.figures import duration

if TYPE_CHECKING:
    from benchday.bench.serving import Tools

BEAT_S = 1.0
"""Real seconds between two looks."""
SLEPT_US = 5_000_000
"""A sleep that is shorter disturbs nothing: links and units wait longer for an answer."""
STILL_US = 15_000_000
"""The program did nothing for so long: it was stopped from outside, or the computer had nothing left for it."""
TOPIC = "slept"

Monotonic = Callable[[], int]


def _mono_us() -> int:
    return time.monotonic_ns() // 1000


class Pauses:
    """How long this program was kept from going on: by a sleep of the computer, or by being stopped."""

    def __init__(self, asleep_us: Callable[[], int | None], mono_us: Monotonic = _mono_us) -> None:
        """Begin to compare.

        Args:
            asleep_us: how long the computer has slept since it was started; None where it cannot be told.
            mono_us: a clock that stands still while the computer sleeps, or one that does not: both will do.
        """
        self._asleep_us, self._mono_us = asleep_us, mono_us
        self._asleep = asleep_us() or 0
        self._beat: int | None = None
        self._total_us = 0
        self.untold: list[PcSlept] = []
        """Noticed and not recorded yet."""

    def total_us(self) -> int:
        """Return how long all pauses together lasted so far; looks now, whoever noticed them first."""
        asleep, now = self._asleep_us() or 0, self._mono_us()
        slept, still = asleep - self._asleep, now - self._beat if self._beat is not None else 0
        self._asleep = asleep
        if self._beat is not None:
            self._beat = now
        if slept >= SLEPT_US or still >= STILL_US:
            # Where the monotonic clock goes on in a sleep, both tell of the same pause.
            lasted = max(slept, still)
            self._total_us += lasted
            how = "slept" if slept >= SLEPT_US else "stood still"
            self.untold.append(PcSlept(how=how, lasted_us=lasted, writing=[]))
        return self._total_us

    async def watch(self, tools: Tools) -> None:
        """Look again and again, and record what is found, until cancelled."""
        self.begin()
        try:
            while True:
                await anyio.sleep(BEAT_S)
                await self.record(tools)
        finally:
            self._beat = None

    def begin(self) -> None:
        """From now on somebody looks every second; not to be looked at for long is a standstill."""
        self._beat = self._mono_us()

    async def record(self, tools: Tools) -> None:
        """Look now, and record what was found: entries that come after it tell of a time after the pause."""
        self.total_us()
        while self.untold:
            found = self.untold.pop(0)
            writing = [s.serial for s in tools.book.state.units.values() if s.state in NO_SAFE_STOP]
            await tools.book.append(found.model_copy(update={"writing": writing}).draft())
            await tools.desk.void_expired(f"it expired while the bench PC {found.how}")


def pauses_to_tell(tools: Tools) -> Iterator[str]:
    """Yield the pauses that nobody has taken note of yet, by the number of their entries."""
    yield from tools.book.state.pauses


async def tell_pause(tools: Tools, number: str) -> None:
    """Tell whoever is at the bench."""
    facts = tools.book.state.pauses.get(number)
    if facts is None:
        return
    writing = [str(serial) for serial in facts["writing"]]
    item = Item(
        id="",
        kind=ItemKind.INSTRUCT,
        topic=f"{TOPIC} {number}",
        text=told_to_people(str(facts["how"]), int(facts["lasted_us"]), writing),
        safety=bool(writing),
    )
    await tools.queue.ask(item)


def told_to_people(how: str, lasted_us: int, writing: list[str]) -> str:
    """Say what happened, and what to look at."""
    parts = [f"The bench PC {how} for {duration(lasted_us)}."]
    if writing:
        parts.append(
            f"BEING WRITTEN THEN: {', '.join(writing)}. Leave them powered and connected; their items say more."
        )
    if how == "slept":
        parts.append("Keep its lid open, put it on mains, and forbid it to sleep in its settings.")
    parts.append("Time limits that passed meanwhile are looked at again, permits that expired are void. Then: done.")
    return " ".join(parts)
