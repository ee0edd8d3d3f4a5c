"""What XMODEM and YMODEM get out of an emulated 115200 baud line, in both directions, and what that costs.

Run: ``python -m tests.speed.transfers [BYTES] [PORTS ...]``, by default 61440 bytes over 1, 16 and 64 ports.

A protocol's limit is what its framing leaves of 11,520 B/s: a block of data, five bytes around it and one for the
answer (Forsberg 1988 for the framing, the rest is arithmetic): 11,004 B/s in blocks of 128, 11,453 in blocks of 1024.
Measured is the data phase, from the end of the first block to the end of the last; the median block leaves out what a
busy machine holds up now and then. The far ends run in processes of their own. Beside it the same traffic by a bare
loop that reads and writes prepared blocks and looks at nothing.
"""

from __future__ import annotations

import json
import os
import selectors
import statistics
import subprocess
import sys
import time
import tty
from collections.abc import Awaitable, Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import pairwise
from typing import IO, cast

import anyio

from benchday.devices.links import open_link
from benchday.devices.transfer import drive
from benchday.devices.xmodem import Ending, Machine, Sender
from benchday.devices.xmodem_receiver import Receiver
from benchday.devices.ymodem import BatchReceiver, BatchSender, Outgoing
from tests.speed.transfer_peer import BYTES_A_SECOND, SIZES, SPREAD_S, C, script

PEERS = 2
GOALS = {"xmodem-1k": 0.97, "ymodem": 0.96}


@dataclass(frozen=True)
class Job:
    """One run."""

    protocol: str
    direction: str
    """send or receive, as seen from here"""
    length: int
    ports: int

    @property
    def limit(self) -> float:
        """Bytes a second that the framing leaves."""
        size = SIZES[self.protocol]
        return BYTES_A_SECOND * size / (size + 6)

    def rate(self, block_s: float) -> float:
        """Bytes a second, at one block in so many seconds."""
        return SIZES[self.protocol] / block_s

    def machine(self) -> Machine:
        """Make our side."""
        size = SIZES[self.protocol]
        if self.direction == "send":
            data = bytes(self.length)
            batch = self.protocol == "ymodem"
            return BatchSender([Outgoing("a.bin", data)]) if batch else Sender(data, block=size)

        return BatchReceiver() if self.protocol == "ymodem" else Receiver(self.length)


@contextmanager
def far_ends(job: Job) -> Iterator[tuple[list[str], list[IO[str]]]]:
    """Start the far ends; yields the names of the ports and the peers' standard inputs."""
    counts = [job.ports // PEERS + (n < job.ports % PEERS) for n in range(PEERS)]
    command = [sys.executable, "-m", "tests.speed.transfer_peer", job.protocol, job.direction, str(job.length)]
    peers = [
        subprocess.Popen([*command, str(count)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for count in counts
        if count
    ]
    try:
        yield (
            [name for peer in peers for name in json.loads(cast("IO[str]", peer.stdout).readline())],
            [cast("IO[str]", peer.stdin) for peer in peers],
        )
        for peer in peers:
            told = json.loads(peer.communicate()[0])
            assert told["damaged"] == 0, told
    finally:
        for peer in peers:
            peer.kill()
            peer.communicate()


@dataclass(frozen=True)
class Measured:
    """What one run gave."""

    goodputs: tuple[float, ...]
    """Bytes a second, one for each port, from the worst to the best."""
    cpu_s: float
    block_s: float
    """Median time from the end of one block to the end of the next."""


async def one_port(path: str, job: Job, go: anyio.Event, wait_s: float, all_marks: list[list[float]]) -> None:
    """Transfer over one line and note when each block was done."""
    link = await open_link(path)
    machine = job.machine()
    await go.wait()
    await anyio.sleep(wait_s)
    try:
        all_marks.append([time.monotonic() async for _ in drive(link, machine)])
    finally:
        await link.aclose()
    assert machine.ending is Ending.WHOLE, machine.ending


def measured(job: Job, all_marks: list[list[float]], cpu_s: float) -> Measured:
    """Make figures of the ends of all ports' blocks."""
    size, more = SIZES[job.protocol], job.length // SIZES[job.protocol] - 1
    assert all(len(marks) == more + 1 for marks in all_marks)
    goodputs = sorted(more * size / (marks[-1] - marks[0]) for marks in all_marks)
    steps = [after - before for marks in all_marks for before, after in pairwise(marks)]
    return Measured(tuple(goodputs), cpu_s, statistics.median(steps))


async def ours(job: Job) -> Measured:
    """Run our machines over all ports at once."""
    all_marks: list[list[float]] = []
    with far_ends(job) as (paths, starts):
        go = anyio.Event()
        async with anyio.create_task_group() as all_ports:
            for n, path in enumerate(paths):
                all_ports.start_soon(one_port, path, job, go, SPREAD_S * n / len(paths), all_marks)
            await anyio.sleep(1)  # every line is open
            began = time.process_time()
            go.set()
            await anyio.sleep(0.1)
            _begin(starts)
        cpu_s = time.process_time() - began

    return measured(job, all_marks, cpu_s)


def _begin(starts: list[IO[str]]) -> None:
    for start in starts:
        start.write("go\n")
        start.flush()


@dataclass
class Bare:
    """One port of the bare loop: prepared blocks out for answers in, or answers out for so many bytes in."""

    out: list[bytes]
    waits_for: list[int]
    """Bytes to be heard before each."""
    heard: int = 0
    marks: list[float] = field(default_factory=list)
    """When each was heard."""

    def hear(self, count: int) -> bytes:
        """Take so many bytes; returns what is to be said."""
        self.heard += count
        if not self.out or self.heard < self.waits_for[0]:
            return b""
        self.heard -= self.waits_for.pop(0)
        self.marks.append(time.monotonic())
        return self.out.pop(0)


def bare_port(job: Job) -> Bare:
    """Prepare the traffic of one port."""
    steps = script(job.protocol, job.length)
    if job.direction == "send":
        merged: list[tuple[int, bytes]] = []
        waiting = 0
        for asked, message in steps:
            waiting += len(asked)
            if message:
                merged.append((waiting, message))
                waiting = 0
        return Bare([m for _, m in merged], [w for w, _ in merged])
    answers, waits = [C], [0]
    for (_, message), (asked, _) in pairwise(steps):
        if not message:
            answers[-1] += asked
            continue
        answers.append(asked)
        waits.append(len(message))
    return Bare(answers, waits)


async def bare(job: Job) -> Measured:
    """Run the bare loop over all ports at once."""
    with far_ends(job) as (paths, starts):
        watch, ports = selectors.DefaultSelector(), {}
        for path in paths:
            fd = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            tty.setraw(fd)
            ports[fd] = bare_port(job)
            watch.register(fd, selectors.EVENT_READ)
        began = time.process_time()
        for fd, port in ports.items():
            if port.waits_for[0] == 0:
                os.write(fd, port.hear(0))
        _begin(starts)
        left = len(ports)
        while left:
            for key, _ in watch.select():
                port = ports[key.fd]
                os.write(key.fd, port.hear(len(os.read(key.fd, 65536))))
                if not port.out:
                    watch.unregister(key.fd)
                    left -= 1
        cpu_s = time.process_time() - began
        await anyio.sleep(0.2)  # the last answer passes the line

    first = 2 if job.protocol == "ymodem" else 1  # the mark at the end of the first block
    count = job.length // SIZES[job.protocol]
    return measured(job, [port.marks[first : first + count] for port in ports.values()], cpu_s)


def report(job: Job, run: Callable[[Job], Awaitable[Measured]]) -> Measured:
    """Run it in a loop of its own."""
    return anyio.run(run, job)


def main(arguments: Sequence[str]) -> None:
    """Measure and print a line for each protocol, direction and number of ports."""
    length = -(-int(arguments[0]) // 1024) * 1024 if arguments else 61_440
    numbers = [int(number) for number in arguments[1:]] or [1, 16, 64]
    print(f"{length} bytes a port, 115200 baud emulated; share of the protocol's own limit in the data phase")
    print("                               ours: worst   median   median |  bare: median |       CPU ms/MiB")
    print(
        "protocol    direction ports  limit     port     port    block |   port  block |    ours    bare  times   goal"
    )
    for protocol in SIZES:
        for direction in ("send", "receive"):
            for ports in numbers:
                print(row(Job(protocol, direction, length, ports)), flush=True)


def row(job: Job) -> str:
    """Measure one job, ours and bare."""
    got, floor = report(job, ours), report(job, bare)
    mib = job.length * job.ports / (1 << 20)
    shares = [rate / job.limit for rate in (got.goodputs[0], statistics.median(got.goodputs), job.rate(got.block_s))]
    bare_shares = [rate / job.limit for rate in (statistics.median(floor.goodputs), job.rate(floor.block_s))]
    costs = [1000 * run.cpu_s / mib for run in (got, floor)]
    return (
        f"{job.protocol:11} {job.direction:9} {job.ports:5} {job.limit:6.0f}"
        + "".join(f"{share:9.1%}" for share in shares)
        + f" |{bare_shares[0]:7.1%}{bare_shares[1]:7.1%}"
        + f" |{costs[0]:8.0f}{costs[1]:8.0f}{costs[0] / costs[1]:7.1f}"
        + (f"{GOALS[job.protocol]:7.0%}" if job.protocol in GOALS else "")
    )


if __name__ == "__main__":
    main(sys.argv[1:])
