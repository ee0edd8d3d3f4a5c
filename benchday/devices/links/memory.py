"""A pair of links in memory, with the faults of real lines: split, drop, garble, delay, cut."""

from __future__ import annotations

from dataclasses import dataclass

import anyio
import anyio.lowlevel

from benchday.domain.errors import LinkGone
from benchday.domain.seams import ModemLines


@dataclass(frozen=True, slots=True)
class Faults:
    """What a line does to the bytes of one direction; bytes are counted from 0 since the line was made."""

    split: int | None = None
    """At most so many bytes come out at once."""
    drop: frozenset[int] = frozenset()
    garble: frozenset[int] = frozenset()
    delay_s: float = 0.0
    """Before each piece that is sent (seconds)."""
    cut_after: int | None = None
    """The line vanishes in both directions once so many bytes have passed."""


class MemoryLink:
    """One end; what is sent here is received at the other."""

    def __init__(self, faults: Faults) -> None:
        self._faults = faults
        self._passed = 0
        self._input = bytearray()
        self._stirred = anyio.Event()
        self._over: str | None = None
        self.other: MemoryLink = self

    async def receive(self, max_bytes: int = 65536) -> bytes:
        await anyio.lowlevel.checkpoint()
        while not self._input:
            self._check()
            await self._stirred.wait()
            self._stirred = anyio.Event()
        most = min(max_bytes, self.other._faults.split or max_bytes)
        data = bytes(self._input[:most])
        del self._input[:most]
        return data

    async def send(self, item: bytes) -> None:
        await anyio.sleep(self._faults.delay_s)
        self._check()
        if self._faults == Faults():
            self.other._input += item
            item = b""
        for byte in item:
            if self._faults.cut_after is not None and self._passed >= self._faults.cut_after:
                self._end("the line was cut")
            self._check()
            if self._passed not in self._faults.drop:
                self.other._input.append(byte ^ 0x20 if self._passed in self._faults.garble else byte)
            self._passed += 1
        self.other._stirred.set()

    async def set_baud(self, baud: int) -> None:  # noqa: ARG002  # memory has no rate
        await anyio.lowlevel.checkpoint()
        self._check()

    def modem_lines(self) -> ModemLines:
        return ModemLines()

    async def discard_input(self) -> None:
        await anyio.lowlevel.checkpoint()
        self._check()
        self._input.clear()

    def abort(self) -> None:
        self._input.clear()
        self._end("the line was dropped")

    async def aclose(self) -> None:
        await anyio.lowlevel.checkpoint()
        self._input.clear()
        self._end("the line was closed")

    def _end(self, why: str) -> None:
        for end in (self, self.other):
            end._over = end._over or why
            end._stirred.set()

    def _check(self) -> None:
        if self._over is not None:
            raise LinkGone(f"memory: {self._over}")


def memory_pair(there: Faults | None = None, back: Faults | None = None) -> tuple[MemoryLink, MemoryLink]:
    """Return two ends of a line; ``there`` spoils what the first sends, ``back`` what the second sends."""
    first, second = MemoryLink(there or Faults()), MemoryLink(back or Faults())
    first.other, second.other = second, first
    return first, second
