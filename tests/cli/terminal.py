"""A real pseudo-terminal with a program in it, and what a person would see there (drawn by pyte)."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Callable, Mapping
from types import TracebackType

import pyte

WITHIN_S = 30.0


class Terminal:
    """A program in a pseudo-terminal."""

    def __init__(self, arguments: list[str], columns: int, rows: int, environment: Mapping[str, str]) -> None:
        self.raw = b""
        self._screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self._screen)
        self._pid, self._master = pty.fork()
        if self._pid == 0:
            # The child: it must not touch anything of the test's before it becomes the program.
            kept = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLUMNS", "LINES")}
            told = {**kept, "TERM": "xterm-256color", **environment}
            os.execve(sys.executable, [sys.executable, *arguments], told)  # noqa: S606 - our own interpreter and program
        self._size(columns, rows)

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._pid:
            os.kill(self._pid, signal.SIGKILL)
            os.waitpid(self._pid, 0)
            os.close(self._master)

    @property
    def lines(self) -> list[str]:
        """What each row shows."""
        return list(self._screen.display)

    @property
    def text(self) -> str:
        """What the whole screen shows."""
        return "\n".join(self.lines)

    @property
    def input_line(self) -> str:
        """What the last row shows."""
        return self.lines[-1].rstrip()

    def type(self, text: str) -> None:
        """Type as a keyboard or scanner does."""
        os.write(self._master, text.encode())

    def resize(self, columns: int, rows: int) -> None:
        """Change the window's size."""
        self._screen.resize(rows, columns)
        self._size(columns, rows)
        os.kill(self._pid, signal.SIGWINCH)

    def interrupt(self) -> None:
        """Send what Ctrl-C sends."""
        os.kill(self._pid, signal.SIGINT)

    def hang_up(self) -> int:
        """Take the terminal away; return the exit status of the program, which must end by itself."""
        os.close(self._master)
        ends = time.monotonic() + WITHIN_S
        while time.monotonic() < ends:
            ended, status = os.waitpid(self._pid, os.WNOHANG)
            if ended:
                self._pid = 0
                return os.waitstatus_to_exitcode(status)
            time.sleep(0.05)
        raise AssertionError(f"the program still runs {WITHIN_S} s after its terminal has gone")

    def read(self, for_s: float) -> None:
        """Take in what comes within a time."""
        ends = time.monotonic() + for_s
        while (left := ends - time.monotonic()) > 0:
            if select.select([self._master], [], [], min(left, 0.05))[0]:
                data = self._data()
                self.raw += data
                self._stream.feed(data)

    def _data(self) -> bytes:
        try:
            return os.read(self._master, 65536)
        except OSError as gone:
            raise AssertionError(f"the program ended:\n{self.text}\n{self.raw.decode(errors='replace')}") from gone

    def wait_for(self, seen: str | Callable[[], bool]) -> None:
        """Read until the screen shows something."""
        ends = time.monotonic() + WITHIN_S
        while time.monotonic() < ends:
            self.read(0.05)
            if seen in self.text if isinstance(seen, str) else seen():
                return
        raise AssertionError(f"not seen within {WITHIN_S} s: {seen}\n{self.text}")

    def _size(self, columns: int, rows: int) -> None:
        fcntl.ioctl(self._master, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
