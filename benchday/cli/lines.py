"""Lines from standard input, read beside everything else."""

from __future__ import annotations

import asyncio
import os
import threading
from contextlib import suppress

import anyio

from benchday.domain.errors import InputError

LONGEST_BYTES = 1 << 20
"""A line that is longer is no answer of anybody's."""
_PIECE = 65536
_PIECES_AHEAD = 4
"""So many pieces may be read that nobody has asked for yet; whoever writes more waits."""


class LineReader:
    """Reads lines from a file descriptor in a thread of its own; whoever waits can be cancelled."""

    def __init__(self, descriptor: int = 0) -> None:
        self._descriptor = descriptor
        self._held = bytearray()
        self._ended = False
        self._skipping = False
        self._ahead = threading.Semaphore(_PIECES_AHEAD)
        self._owed = 0
        self._news = anyio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None

    async def line(self) -> str | None:
        """Return the next line without its end; None at the end of the input.

        Raises:
            InputError: a line is longer than any answer; it is thrown away, and the next call goes on after it.
        """
        if self._loop is None:
            self._loop = asyncio.get_running_loop()
            # A daemon, which a program that ends does not wait for: nobody may ever type again.
            threading.Thread(target=self._read, args=(self._loop,), name="standard input", daemon=True).start()
        while b"\n" not in self._held and not self._ended:
            if self._skipping or len(self._held) > LONGEST_BYTES:
                self._held.clear()
                self._skipping = True
            self._let_on()
            await self._news.wait()
        if not self._held and not self._skipping:
            return None
        line = self._first()
        too_long, self._skipping = self._skipping or len(line) > LONGEST_BYTES, False
        if too_long:
            raise InputError(f"a line on standard input is longer than {LONGEST_BYTES} bytes; it was thrown away")
        return line.decode("utf-8", errors="replace").rstrip("\r")

    def _first(self) -> bytes:
        end = self._held.find(b"\n")
        line = bytes(self._held[: end if end >= 0 else None])
        del self._held[: end + 1 if end >= 0 else None]
        return line

    def _let_on(self) -> None:
        """Let as many pieces be read as were taken up: no whole line is left of them."""
        if self._owed:
            self._ahead.release(self._owed)
            self._owed = 0

    def _read(self, loop: asyncio.AbstractEventLoop) -> None:
        # os.read and not the buffered stream: a thread that is left behind must not hold the stream's lock.
        with suppress(RuntimeError):  # the loop is closed: the program ends
            while data := self._data():
                self._ahead.acquire()
                loop.call_soon_threadsafe(self._take, data)
            loop.call_soon_threadsafe(self._take, b"")

    def _data(self) -> bytes:
        try:
            return os.read(self._descriptor, _PIECE)
        except OSError:
            # A terminal that has gone is the end of what is typed there.
            return b""

    def _take(self, data: bytes) -> None:
        self._held += data
        self._owed += bool(data)
        self._ended = not data
        news, self._news = self._news, anyio.Event()
        news.set()
