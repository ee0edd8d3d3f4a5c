"""A serial line on a pseudo-terminal (POSIX). Its twin for other platforms is in `tcp_line`."""

import asyncio
import fcntl
import os
import struct
import termios
import time
import tty
from pathlib import Path

from .lines import Listener

READ_AT_MOST = 65_536


class PtyCarrier:
    """A pseudo-terminal whose other end the host opens and closes as it likes."""

    def __init__(self, link: Path | None) -> None:
        self._link = link
        self._listener: Listener | None = None
        self._master = -1
        self._slave = -1
        self._timer: asyncio.TimerHandle | None = None
        self._last_name = ""

    async def attach(self, listener: Listener) -> dict[str, str]:
        """Make the port appear, each time under another name, and point the link at it."""
        self._listener = listener
        if self._master < 0:
            self._master, self._slave = self._open_fresh()
            tty.setraw(self._slave)
            os.set_blocking(self._master, False)
            asyncio.get_running_loop().add_reader(self._master, self._readable)
            self._last_name = os.ttyname(self._slave)
            self._point_link()
        return {"port": self._last_name}

    def _open_fresh(self) -> tuple[int, int]:
        # Our own end of the slave stays open, so that a host may close and open it without hanging up the master.
        master, slave = os.openpty()
        if os.ttyname(slave) != self._last_name:
            return master, slave
        # The kernel hands out the lowest free number: take the next one while this is held.
        try:
            return os.openpty()
        finally:
            os.close(master)
            os.close(slave)

    def _point_link(self) -> None:
        if self._link is None:
            return
        fresh = self._link.with_name(f".{self._link.name}.new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(self._last_name)
        fresh.replace(self._link)

    def detach(self) -> None:
        """Make the port vanish: whoever has it open is hung up."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._link is not None:
            self._link.unlink(missing_ok=True)
        if self._master >= 0:
            asyncio.get_running_loop().remove_reader(self._master)
            os.close(self._master)
            os.close(self._slave)
            self._master = self._slave = -1

    def _readable(self) -> None:
        try:
            data = os.read(self._master, READ_AT_MOST)
        except (BlockingIOError, InterruptedError):
            return
        if self._listener is None:
            return
        due = self._listener.due(len(data))
        if due is None:
            self._listener.arrived(data, None)
            return
        # Nothing more is read until these bytes would have come over a real line.
        loop = asyncio.get_running_loop()
        loop.remove_reader(self._master)
        self._timer = loop.call_later(max(0.0, due - time.monotonic()), self._come, data, due)

    def _come(self, data: bytes, due: float) -> None:
        self._timer = None
        asyncio.get_running_loop().add_reader(self._master, self._readable)
        if self._listener is not None:
            self._listener.arrived(data, due)

    def push(self, data: bytes) -> int:
        """Send what the kernel takes at once."""
        if self._master < 0:
            return len(data)
        try:
            return os.write(self._master, data)
        except BlockingIOError:
            return 0

    def backlog(self) -> int:
        """Say how many bytes the host has not read yet."""
        if self._slave < 0:
            return 0
        return int(struct.unpack("i", fcntl.ioctl(self._slave, termios.FIONREAD, b"\0\0\0\0"))[0])
