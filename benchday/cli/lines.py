"""Lines from standard input, read beside everything else."""

from __future__ import annotations

import asyncio
import os
import threading
from contextlib import suppress

import anyio

LONGEST_BYTES = 1 << 20
"""A line that is longer is no answer of anybody's."""


class LineReader:
    """Reads lines from a file descriptor in a thread of its own; whoever waits can be cancelled."""

    def __init__(self, descriptor: int = 0) -> None:
        self._descriptor = descriptor
        self._held = b""
        self._ended = False
        self._news = anyio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None

    async def line(self) -> str | None:
        """Return the next line without its end; None at the end of the input.

        Raises:
            ValueError: a line is longer than any answer.
        """
        if self._loop is None:
            self._loop = asyncio.get_running_loop()
            # A daemon, which a program that ends does not wait for: nobody may ever type again.
            threading.Thread(target=self._read, args=(self._loop,), name="standard input", daemon=True).start()
        while b"\n" not in self._held and not self._ended:
            if len(self._held) > LONGEST_BYTES:
                raise ValueError(f"a line on standard input is longer than {LONGEST_BYTES} bytes")
            await self._news.wait()
        if not self._held:
            return None
        line, _, self._held = self._held.partition(b"\n")
        return line.decode("utf-8", errors="replace").rstrip("\r")

    def _read(self, loop: asyncio.AbstractEventLoop) -> None:
        # os.read and not the buffered stream: a thread that is left behind must not hold the stream's lock.
        with suppress(RuntimeError):  # the loop is closed: the program ends
            while data := self._data():
                loop.call_soon_threadsafe(self._take, data)
            loop.call_soon_threadsafe(self._take, b"")

    def _data(self) -> bytes:
        try:
            return os.read(self._descriptor, 65536)
        except OSError:
            # A terminal that has gone is the end of what is typed there.
            return b""

    def _take(self, data: bytes) -> None:
        self._held += data
        self._ended = not data
        news, self._news = self._news, anyio.Event()
        news.set()
