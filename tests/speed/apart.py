"""How much longer a transfer takes while the rest of the day is foreseen, in a thread and in a process of its own.

Run: ``python -m tests.speed.apart [KIB]``.

The line is a pair of sockets whose far end runs in another process and acknowledges each block at once, so that
nothing but this program takes time; the forecast is run in plain Python, over and over. The baseline is the same
transfer alone.
"""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial

import anyio

from benchday.bench.apart import Apart, in_a_thread, in_processes
from benchday.planning.forecast.engines import Engine, replicate
from tests.planning.forecast.usual import usual_day

BLOCK = 1029
FAR_END = """
import socket, sys
line, heard = socket.socket(fileno=int(sys.argv[1])), 0
while data := line.recv(65536):
    heard += len(data)
    while heard >= 1029:
        heard -= 1029
        line.send(b"k")
"""


@contextmanager
def line() -> Iterator[socket.socket]:
    """Start the far end; yields the near one."""
    near, far = socket.socketpair()
    command = [sys.executable, "-c", FAR_END, str(far.fileno())]
    with near, subprocess.Popen(command, pass_fds=[far.fileno()]) as peer:
        far.close()
        near.setblocking(False)
        yield near
        near.close()
        peer.wait()


async def transfer(near: socket.socket, blocks: int) -> float:
    """Send so many blocks, each after the last one's acknowledgement; return the seconds."""
    began = 0.0
    for _ in range(blocks + 1):
        await anyio.wait_writable(near)
        near.send(bytes(BLOCK))
        await anyio.wait_readable(near)
        near.recv(16)
        # The far end had to start first.
        began = began or time.perf_counter()

    return time.perf_counter() - began


async def beside(blocks: int, apart: Apart | None) -> float:
    """Transfer while forecasts run apart; None: while nothing else does."""
    async with anyio.create_task_group() as tasks:
        if apart is not None:
            await apart(partial(time.sleep, 0.01))
            tasks.start_soon(_foresee, apart)
            await anyio.sleep(0.3)
        with line() as near:
            took = await transfer(near, blocks)
        tasks.cancel_scope.cancel()
    return took


async def _foresee(apart: Apart) -> None:
    model = usual_day(60)
    while True:
        await apart(partial(replicate, model, replications=100, engine=Engine.LOOP))


async def main(kib: int) -> None:
    """Print the table."""
    alone = await beside(kib, None)
    print(f"{kib} KiB in blocks of 1 KiB, each acknowledged: {alone * 1e6 / kib:.0f} us a block alone")
    async with in_processes() as processes:
        ways: dict[str, Apart] = {"a thread": in_a_thread, "a process": processes}
        for name, apart in ways.items():
            took = await beside(kib, apart)
            print(f"  a forecast in {name:<9}  {took * 1e6 / kib:6.0f} us a block, {took / alone:5.1f} times as long")


if __name__ == "__main__":
    anyio.run(main, int(sys.argv[1]) if len(sys.argv) > 1 else 500)
