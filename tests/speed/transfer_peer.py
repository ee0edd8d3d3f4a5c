"""The far ends of many lines in one process, taking or giving by XMODEM or YMODEM at an emulated 115200 baud.

Used by ``transfers``. A byte that leaves at t has passed the line at t + 1/11520 s at the earliest, in each direction;
what a far end gives comes out in pieces of 62 bytes, as USB adapters hand them on (64 less two of status; common
practice, no source). The far ends share no code with the package, answer at once and add no pause of their own.
"""

from __future__ import annotations

import binascii
import heapq
import json
import os
import selectors
import sys
import time
import tty
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

BYTES_A_SECOND = 11_520
PIECE = 62
SPREAD_S = 0.09
"""The ports begin spread over the time of a block: real ones are not in step either."""
ACK, C, EOT = b"\x06", b"C", b"\x04"
SIZES = {"xmodem-128": 128, "xmodem-1k": 1024, "ymodem": 1024}

Say = Callable[[float, bytes], None]
"""At this time, say this."""


def framed(number: int, data: bytes) -> bytes:
    """Build a block."""
    low = number & 0xFF
    kind = b"\x01" if len(data) == 128 else b"\x02"
    return kind + bytes((low, 255 - low)) + data + binascii.crc_hqx(data, 0).to_bytes(2, "big")


def head(name: str, length: int) -> bytes:
    """Build a file's head."""
    return framed(0, f"{name}\0{length}".encode().ljust(128, b"\0")) if name else framed(0, bytes(128))


def script(protocol: str, length: int) -> list[tuple[bytes, bytes]]:
    """Say what a giver waits for and what it says then."""
    size = SIZES[protocol]
    blocks = [framed(n, bytes([n & 0xFF]) * size) for n in range(1, length // size + 1)]
    content = [(C, blocks[0]), *[(ACK, block) for block in blocks[1:]], (ACK, EOT)]
    if protocol != "ymodem":
        return [*content, (ACK, b"")]

    return [(C, head("a.bin", length)), (ACK, b""), *content, (ACK, b""), (C, head("", 0)), (ACK, b"")]


class End(Protocol):
    """What one far end does with what it hears."""

    blocks: int
    damaged: int

    def begin(self, say: Say, now: float) -> None: ...
    def hear(self, data: bytes, say: Say, now: float) -> None: ...


@dataclass
class Giver:
    """Gives what the script says."""

    steps: list[tuple[bytes, bytes]]
    blocks: int = 0
    damaged: int = 0

    def begin(self, say: Say, now: float) -> None:
        """Wait to be asked."""

    def hear(self, data: bytes, say: Say, now: float) -> None:
        """Go on where what was waited for has come."""
        for byte in data:
            if not self.steps or self.steps[0][0] != bytes((byte,)):
                self.damaged += 1
                continue
            message = self.steps.pop(0)[1]
            self.blocks += len(message) > 1
            begun = now + 1 / BYTES_A_SECOND
            for at in range(0, len(message), PIECE):
                piece = message[at : at + PIECE]
                say(begun + (at + len(piece)) / BYTES_A_SECOND, piece)


@dataclass
class Taker:
    """Acknowledges blocks; after a head or the end of a file it asks again if there is a batch."""

    batch: bool
    heard: bytearray = field(default_factory=bytearray)
    free_at: float = 0.0
    blocks: int = 0
    damaged: int = 0

    def begin(self, say: Say, now: float) -> None:
        """Ask."""
        say(now, C)

    def hear(self, data: bytes, say: Say, now: float) -> None:
        """Answer once a block is whole."""
        if not self.heard:
            self.free_at = now
        self.heard += data
        if self.heard[:1] == EOT:
            self.heard.clear()
            say(self.free_at + 2 / BYTES_A_SECOND, ACK + C if self.batch else ACK)
            return
        length = 133 if self.heard[0] == 1 else 1029
        if len(self.heard) < length:
            return
        block = bytes(self.heard[:length])
        del self.heard[:length]
        whole = binascii.crc_hqx(block[3:], 0) == 0
        self.blocks += whole
        self.damaged += not whole
        self.free_at += (length + 1) / BYTES_A_SECOND
        asks = self.batch and block[1] == 0 and block[0] == 1 and block[3] != 0
        say(self.free_at, (ACK + C if asks else ACK) if whole else b"\x15")


def make(protocol: str, direction: str, length: int) -> End:
    """Make a far end that takes what is sent, or gives what is received."""
    if direction == "send":
        return Taker(batch=protocol == "ymodem")

    return Giver(script(protocol, length))


def serve(protocol: str, direction: str, length: int, count: int) -> None:
    """Make the lines, print their names, and go on until standard input ends."""
    ends: dict[int, End] = {}
    watch = selectors.SelectSelector()  # waits to the microsecond; epoll would round up to the millisecond
    names = []
    due: list[tuple[float, int, int, bytes]] = []
    for _ in range(count):
        far, near = os.openpty()  # near stays open here, so that the line does not hang up before it is opened
        tty.setraw(near)
        tty.setraw(far)
        names.append(os.ttyname(near))
        ends[far] = make(protocol, direction, length)
        watch.register(far, selectors.EVENT_READ)
    watch.register(sys.stdin, selectors.EVENT_READ)
    print(json.dumps(names), flush=True)

    def saying(fd: int) -> Say:
        return lambda at, data: heapq.heappush(due, (at, len(due), fd, data))

    while True:
        wait = max(due[0][0] - time.monotonic(), 0) if due else None
        for key, _ in watch.select(wait):
            now = time.monotonic()
            if key.fd != sys.stdin.fileno():
                ends[key.fd].hear(os.read(key.fd, 65536), saying(key.fd), now)
            elif sys.stdin.readline():  # a line: begin
                for n, (fd, end) in enumerate(ends.items()):
                    end.begin(saying(fd), now + SPREAD_S * n / count)
            else:
                told = {
                    "blocks": sum(e.blocks for e in ends.values()),
                    "damaged": sum(e.damaged for e in ends.values()),
                }
                print(json.dumps(told), flush=True)
                return
        while due and due[0][0] <= time.monotonic():
            _, _, fd, data = heapq.heappop(due)
            os.write(fd, data)


if __name__ == "__main__":
    serve(sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
