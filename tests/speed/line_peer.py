"""The far ends of many lines in one process: each takes XMODEM-1K at an emulated 115200 baud. Used by ``links``."""

from __future__ import annotations

import binascii
import heapq
import json
import os
import selectors
import sys
import time
import tty
from dataclasses import dataclass, field

BYTES_A_SECOND = 11_520
BLOCK = 1029


@dataclass
class FarEnd:
    """One line's far end; a byte that came at t has passed the emulated line at t + 1/11520 s at the earliest."""

    fd: int
    held_open: int
    """Our own handle on the near end, so that the line does not hang up before it is opened."""
    input: bytearray = field(default_factory=bytearray)
    free_at: float = 0.0
    blocks: int = 0
    damaged: int = 0

    def take(self, now: float) -> tuple[float, bytes] | None:
        """Read what is there; return when to answer what, once a block is whole."""
        if not self.input:
            self.free_at = now
        self.input += os.read(self.fd, 65536)
        if self.input[:1] == b"\x04":
            self.input.clear()
            return self.free_at + 2 / BYTES_A_SECOND, b"\x06"
        if len(self.input) < BLOCK:
            return None

        block, self.input = self.input[:BLOCK], self.input[BLOCK:]
        whole = binascii.crc_hqx(block[3:], 0) == 0
        self.blocks += whole
        self.damaged += not whole
        self.free_at += (BLOCK + 1) / BYTES_A_SECOND
        return self.free_at, b"\x06" if whole else b"\x15"


def serve(count: int) -> None:
    """Make ``count`` lines, print their names, and answer until standard input ends."""
    ends = {}
    watch = selectors.SelectSelector()  # waits to the microsecond; epoll would round up to the millisecond
    names = []
    for _ in range(count):
        far, near = os.openpty()
        tty.setraw(near)
        tty.setraw(far)
        names.append(os.ttyname(near))
        ends[far] = FarEnd(far, near)
        watch.register(far, selectors.EVENT_READ)
    watch.register(sys.stdin, selectors.EVENT_READ)
    print(json.dumps(names), flush=True)

    due: list[tuple[float, int, bytes]] = []
    asked = False
    while True:
        wait = max(due[0][0] - time.monotonic(), 0) if due else None
        for key, _ in watch.select(wait):
            if key.fd == sys.stdin.fileno():
                if asked or not sys.stdin.readline():
                    damaged = sum(end.damaged for end in ends.values())
                    blocks = sum(end.blocks for end in ends.values())
                    print(json.dumps({"blocks": blocks, "damaged": damaged}), flush=True)
                    return
                asked = True  # a line: ask for the transfers now
                due += [(time.monotonic(), fd, b"C") for fd in ends]
                heapq.heapify(due)
                continue
            answer = ends[key.fd].take(time.monotonic())
            if answer is not None:
                heapq.heappush(due, (answer[0], key.fd, answer[1]))
        while due and due[0][0] <= time.monotonic():
            _, fd, answer_bytes = heapq.heappop(due)
            os.write(fd, answer_bytes)


if __name__ == "__main__":
    serve(int(sys.argv[1]))
