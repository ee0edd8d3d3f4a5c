"""Lines at an emulated 115200 baud, in a process of their own: joined pseudo-terminals, each way at 11,520 B/s.

``python -m tests.peers.paced_line COUNT`` prints the pairs of names and goes on until its standard input ends. What is
sent comes out in pieces of up to 62 bytes, each when its last byte has passed.
"""

from __future__ import annotations

import json
import os
import selectors
import subprocess
import sys
import time
import tty
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import IO, cast

BYTES_A_SECOND = 11_520
PIECE = 62


@dataclass
class Way:
    """One direction of one line."""

    out: int
    free_at: float = 0.0
    waiting: deque[tuple[float, bytes]] = field(default_factory=deque)

    def take(self, data: bytes, now: float) -> None:
        """Let bytes enter."""
        self.free_at = max(self.free_at, now)
        for at in range(0, len(data), PIECE):
            piece = data[at : at + PIECE]
            self.free_at += len(piece) / BYTES_A_SECOND
            self.waiting.append((self.free_at, piece))

    def give(self) -> None:
        """Let out what has passed."""
        while self.waiting and self.waiting[0][0] <= time.monotonic():
            os.write(self.out, self.waiting.popleft()[1])


def serve(count: int) -> None:
    """Make the lines, print their ends' names and carry bytes until standard input ends."""
    ways: dict[int, Way] = {}
    watch = selectors.SelectSelector()  # waits to the microsecond; epoll would round up to the millisecond
    names = []
    for _ in range(count):
        ends = [os.openpty() for _ in range(2)]  # the near ends stay open here, so that no line hangs up
        for far, near in ends:
            tty.setraw(near)
            tty.setraw(far)
            watch.register(far, selectors.EVENT_READ)
        names.append([os.ttyname(near) for _, near in ends])
        (one, _), (other, _) = ends
        ways[one], ways[other] = Way(other), Way(one)
    watch.register(sys.stdin, selectors.EVENT_READ)
    print(json.dumps(names), flush=True)  # noqa: T201  # this is how a starter learns of them

    while True:
        due = [way.waiting[0][0] for way in ways.values() if way.waiting]
        for key, _ in watch.select(max(min(due) - time.monotonic(), 0) if due else None):
            if key.fd == sys.stdin.fileno():
                return
            ways[key.fd].take(os.read(key.fd, 65536), time.monotonic())
        for way in ways.values():
            way.give()


@contextmanager
def paced_lines(count: int) -> Iterator[list[tuple[str, int]]]:
    """Start so many lines; yields for each one end's name and the other end, open."""
    command = [sys.executable, "-m", "tests.peers.paced_line", str(count)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        far_ends: list[int] = []
        try:
            names = json.loads(cast("IO[str]", process.stdout).readline())
            far_ends += [os.open(other, os.O_RDWR | os.O_NOCTTY) for _, other in names]
            yield [(one, far) for (one, _), far in zip(names, far_ends, strict=True)]
        finally:
            process.kill()
            for far in far_ends:
                os.close(far)


if __name__ == "__main__":
    serve(int(sys.argv[1]))
