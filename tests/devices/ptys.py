"""Pseudo-terminals as far ends."""

from __future__ import annotations

import contextlib
import os
import re
import termios
import tty
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager

import anyio


class PtyEnd:
    """The far end of a pseudo-terminal."""

    def __init__(self) -> None:
        self.fd, near = os.openpty()
        tty.setraw(near)
        tty.setraw(self.fd)
        os.set_blocking(self.fd, False)
        self.path = os.ttyname(near)
        self._near = near
        self._open = True

    def let_go(self) -> None:
        """Close our own handle on the near end, once somebody else has opened it."""
        os.close(self._near)
        self._near = -1

    async def send(self, item: bytes) -> None:
        while item:
            await anyio.wait_writable(self.fd)
            item = item[os.write(self.fd, item) :]

    async def receive(self, max_bytes: int = 65536) -> bytes:
        await anyio.wait_readable(self.fd)
        return os.read(self.fd, max_bytes)

    async def rate(self) -> int:
        """Return the rate that whoever opened the near end has set (bits a second)."""
        speed = termios.tcgetattr(self.fd)[5]
        return next(
            int(name[1:]) for name in dir(termios) if re.fullmatch(r"B\d+", name) and getattr(termios, name) == speed
        )

    async def vanish(self) -> None:
        if self._near >= 0:
            self.let_go()
        self.close()

    def close(self) -> None:
        if self._open:
            self._open = False
            anyio.notify_closing(self.fd)
            os.close(self.fd)
        if self._near >= 0:
            with contextlib.suppress(OSError):
                self.let_go()


@asynccontextmanager
async def pty_end() -> AsyncIterator[PtyEnd]:
    """Make a pseudo-terminal and take it away afterwards."""
    end = PtyEnd()
    try:
        yield end
    finally:
        end.close()


@contextmanager
def raw_pty() -> Iterator[tuple[int, str]]:
    """Make a pseudo-terminal for another program: its far descriptor, blocking, and the near end's path."""
    far, near = os.openpty()
    tty.setraw(near)
    tty.setraw(far)
    try:
        yield far, os.ttyname(near)
    finally:
        os.close(far)
        os.close(near)
