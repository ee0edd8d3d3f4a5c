"""How a unit speaks while trouble lasts: not at all, late, slowly, or not quite what it means."""

import asyncio
import time

ANSWER_S, BYTES_PER_S = 0.02, 1_000_000
"""what an answer takes on a network that is slow by a factor of 1 (real seconds); a line has its own rate"""
LOOK_EVERY_S = 0.02


class Speech:
    """What is between a unit and its host, whatever carries it. All times are real seconds."""

    def __init__(self) -> None:
        self.stuck = False
        """it takes everything and says nothing"""
        self._mute_until = 0.0
        self._away_until = 0.0
        self._slow_until = 0.0
        self._factor = 1.0
        self._next: list[str] = []

    def mute(self, seconds: float) -> None:
        """Say nothing for a while."""
        self._mute_until = time.monotonic() + seconds

    def away(self, seconds: float) -> None:
        """Let nothing pass for a while."""
        self._away_until = time.monotonic() + seconds

    def slow(self, factor: float, seconds: float) -> None:
        """Be so many times slower for a while."""
        self._factor, self._slow_until = factor, time.monotonic() + seconds

    def spoil(self, how: str) -> None:
        """Spoil what is said next: garbled, repeated, or bytes lost."""
        self._next.append(how)

    def silent(self) -> bool:
        """Say whether nothing is said now."""
        return self.stuck or time.monotonic() < self._mute_until

    def slowness(self) -> float:
        """Say by how much the unit is slower now; 1: it is not."""
        return self._factor if time.monotonic() < self._slow_until else 1.0

    async def until_heard(self) -> None:
        """Wait as long as nothing is said; for ever where the unit is stuck."""
        while self.silent():  # noqa: ASYNC110 - time is waited for
            await asyncio.sleep(LOOK_EVERY_S)

    async def until_there(self) -> None:
        """Wait as long as nothing passes."""
        while time.monotonic() < self._away_until:  # noqa: ASYNC110 - likewise
            await asyncio.sleep(LOOK_EVERY_S)

    async def tarry(self, count: int) -> None:
        """Take the time that so many bytes take on a network, if the unit is slow."""
        if (factor := self.slowness()) > 1:
            await asyncio.sleep(factor * (ANSWER_S + count / BYTES_PER_S))

    def spoiled(self) -> str:
        """Say what becomes of the next message as a whole, and be done with it; empty: nothing."""
        return self._next.pop(0) if self._next else ""

    def shape(self, data: bytes) -> bytes:
        """Give what is said instead of some bytes."""
        if not data or not self._next:
            return data
        how, middle = self.spoiled(), len(data) // 2
        if how == "garbled":
            return data[:middle] + bytes((data[middle] ^ 0x01,)) + data[middle + 1 :]
        if how == "repeated":
            return data + data
        lost = -(-len(data) // 4)
        return data[: middle - lost // 2] + data[middle - lost // 2 + lost :]
