"""How much of an emulated 115200 baud line the SMP driver gets, beside the protocol's own limit.

Run: ``python -m tests.speed.smp [BYTES] [BUFFER_BYTES ...]``.

The far end runs in a process of its own, answers at once, and lets bytes through as fast as the line: 11,520 B/s each
way. The limit is arithmetic: the bytes that the lines of a piece and of its answer take (Zephyr Project, "SMP Transport
Specification"), one piece under way at a time. Measured is from the first piece's answer to the last one's.
"""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
import time
from random import Random
from typing import IO, cast

import anyio

from benchday.devices.drivers.smp_frames import framed
from benchday.devices.drivers.smp_image import ImageWay, send_image
from benchday.devices.drivers.smp_line import Carrier, LineCarrier, SmpLine
from benchday.devices.drivers.smp_settings import SmpLimits
from benchday.devices.links import open_link

RATE = 11_520
ANSWER = len(framed(bytes(8 + 1 + 4 + 5)))
"""Line bytes of an answer: header, map, "off" and a number of four bytes."""
_AROUND = 26


def most(buffer: int) -> float:
    """Return the payload that the line can carry in pieces for such a buffer, bytes a second."""
    message = buffer - 4
    return (message - _AROUND) * RATE / (len(framed(bytes(message))) + ANSWER)


async def run(port: str, image: bytes, buffer: int) -> tuple[float, float]:
    """Send the image; returns payload bytes a second, and this process's share of a core."""

    async def never() -> Carrier:
        raise AssertionError("the line was opened again")

    line = SmpLine(LineCarrier(await open_link(port)), never, SmpLimits(message_bytes=8192))
    line.may_take(buffer)
    began, first, last, cpu = 0.0, 0, 0, 0.0
    async for told in send_image(line, ImageWay(image)):
        if not first:
            began, first, cpu = time.monotonic(), told.done, time.process_time()
        last = told.done
    took = time.monotonic() - began
    used = time.process_time() - cpu
    await line.aclose()
    return (last - first) / took, used / took


def main(size: int, buffers: list[int]) -> None:
    """Measure each size of buffer, and print."""
    image = Random(1).randbytes(size)
    print(f"{size} bytes at {RATE} B/s, sha256 {hashlib.sha256(image).hexdigest()[:16]}")
    print(f"{'buffer':>8} {'limit B/s':>10} {'got B/s':>10} {'of limit':>9} {'of line':>8} {'of a core':>10}")
    for buffer in buffers:
        command = [sys.executable, "-m", "tests.speed.smp_peer", str(buffer)]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as peer:
            port = json.loads(cast("IO[str]", peer.stdout).readline())
            goodput, core = anyio.run(run, port, image, buffer)
            told = json.loads(peer.communicate()[0])
        assert told["sha256"] == hashlib.sha256(image).hexdigest()
        limit = most(buffer)
        share = f"{goodput / limit:9.1%} {goodput / RATE:8.1%}"
        print(f"{buffer:8} {limit:10,.0f} {goodput:10,.0f} {share} {core:10.1%}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 131_072, [int(b) for b in sys.argv[2:]] or [384, 1024, 2048])
