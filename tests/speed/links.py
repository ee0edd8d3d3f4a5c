"""How much of an emulated 115200 baud line each of many stations gets.

Run: ``python -m tests.speed.links [STATIONS] [BYTES]``.

The far ends run in processes of their own, so that the time measured here is the program's. 1024 data bytes cost 1029
on the line and one for the answer: at 11,520 B/s at most 11,453 B/s get through (Forsberg 1988 for the framing, the
rest is arithmetic). Measured is the data phase, from the first acknowledgement to the last.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from random import Random
from typing import IO, cast

import anyio

from benchday.devices.links import open_link
from benchday.devices.transfer import drive
from benchday.devices.xmodem import Ending, Sender

MOST = 11_453
PEERS = 2


@dataclass(frozen=True)
class Run:
    """What one run gave."""

    goodputs: tuple[float, ...]
    """Bytes a second, one for each station."""
    cpu_share: float
    """Of one core, over the transfers."""


@contextmanager
def far_ends(stations: int) -> Iterator[tuple[list[str], list[IO[str]]]]:
    """Start the far ends; yields the names of the ports and the peers' standard inputs."""
    counts = [stations // PEERS + (n < stations % PEERS) for n in range(PEERS)]
    peers = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.speed.line_peer", str(count)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for count in counts
        if count
    ]
    try:
        names = [name for peer in peers for name in json.loads(cast("IO[str]", peer.stdout).readline())]
        yield names, [cast("IO[str]", peer.stdin) for peer in peers]
        for peer in peers:
            told = json.loads(peer.communicate()[0])
            assert told["damaged"] == 0, told
    finally:
        for peer in peers:
            peer.kill()
            peer.communicate()


async def one_station(port: str, image: bytes, goodputs: list[float]) -> None:
    """Send the image over one line and note the data phase's goodput."""
    link = await open_link(port)
    sender = Sender(image)
    first = last = 0.0
    try:
        async for _ in drive(link, sender):
            last = time.monotonic()
            first = first or last
    finally:
        await link.aclose()
    assert sender.ending is Ending.WHOLE, sender.ending
    goodputs.append((len(image) - 1024) / (last - first))


async def run(stations: int, image: bytes) -> Run:
    """Send the image over all lines at once."""
    goodputs: list[float] = []
    with far_ends(stations) as (ports, starts):
        began_cpu, began = time.process_time(), time.monotonic()
        async with anyio.create_task_group() as all_stations:
            for port in ports:
                all_stations.start_soon(one_station, port, image, goodputs)
            await anyio.sleep(1)  # every line is open
            began_cpu, began = time.process_time(), time.monotonic()
            for start in starts:
                start.write("go\n")
                start.flush()
        cpu_share = (time.process_time() - began_cpu) / (time.monotonic() - began)

    return Run(tuple(sorted(goodputs)), cpu_share)


def main(arguments: Sequence[str]) -> None:
    """Run one station alone, then all at once, and print the figures."""
    stations = int(arguments[0]) if arguments else 60
    image = Random(1).randbytes(int(arguments[1]) if len(arguments) > 1 else 204_800)
    alone = anyio.run(run, 1, image)
    together = anyio.run(run, stations, image)
    one = alone.goodputs[0]
    print(f"alone: {one:.0f} B/s, {one / MOST:.1%} of {MOST} B/s, CPU {alone.cpu_share:.1%} of a core")
    for name, goodput in (("worst", together.goodputs[0]), ("median", together.goodputs[stations // 2])):
        shares = f"{goodput / MOST:.1%} of {MOST} B/s, {goodput / one:.1%} of alone"
        print(f"{stations} at once, {name}: {goodput:.0f} B/s, {shares}")
    print(f"CPU with {stations}: {together.cpu_share:.1%} of one core")


if __name__ == "__main__":
    main(sys.argv[1:])
