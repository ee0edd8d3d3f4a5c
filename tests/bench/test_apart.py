"""Sums in processes of their own: they come back, go wrong, are given up, and leave nobody behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from functools import partial

import anyio
import pytest

from benchday.bench.apart import SumBroken, in_processes

pytestmark = pytest.mark.asyncio


def is_there(pid: int) -> bool:
    """Tell whether a process is there and no mere remnant that nobody has waited for."""
    told = subprocess.run(["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, text=True, check=False).stdout
    return bool(told.strip()) and not told.startswith("Z")


async def gone(pid: int) -> None:
    """Return when a process has gone."""
    with anyio.fail_after(60):
        while is_there(pid):  # noqa: ASYNC110  # another process cannot set an event here
            await anyio.sleep(0.02)


async def test_a_process_is_kept_for_the_next_sum_and_ends_with_the_context() -> None:
    async with in_processes() as apart:
        first = await apart(os.getpid)
        assert first != os.getpid()
        assert await apart(os.getpid) == first
        assert await apart(partial(sum, (1, 2, 3))) == 6
    await gone(first)


async def test_what_goes_wrong_is_raised_here_and_harms_nothing() -> None:
    async with in_processes() as apart:
        first = await apart(os.getpid)
        with pytest.raises(ZeroDivisionError):
            await apart(partial(divmod, 1, 0))
        with pytest.raises(SumBroken, match="cannot be handed over"):
            await apart(partial(open, os.devnull))
        assert await apart(os.getpid) == first


async def test_a_process_that_is_ended_by_somebody_is_said_and_another_takes_its_place() -> None:
    async with in_processes() as apart:
        with pytest.raises(SumBroken, match="has gone"):
            await apart(partial(os._exit, 3))
        assert await apart(partial(sum, (1, 2))) == 3


async def test_a_sum_that_is_given_up_is_not_waited_for() -> None:
    async with in_processes() as apart:
        with anyio.move_on_after(0.5) as given_up:
            await apart(partial(time.sleep, 600))
        assert given_up.cancelled_caught
        assert await apart(partial(sum, (1, 2))) == 3


async def test_two_sums_go_on_at_once_and_a_third_waits() -> None:
    pids: list[int] = []

    async with in_processes() as apart:

        async def one() -> None:
            pids.append(await apart(os.getpid))

        async with anyio.create_task_group() as tasks:
            for _ in range(3):
                tasks.start_soon(one)
    assert len(set(pids)) == 2


async def test_ctrl_c_does_not_reach_it() -> None:
    async with in_processes() as apart:
        pid = await apart(os.getpid)
        os.kill(pid, signal.SIGINT)
        assert await apart(os.getpid) == pid


async def test_it_ends_with_a_program_that_is_killed() -> None:
    program = (
        "import anyio, os, time\nfrom functools import partial\nfrom benchday.bench.apart import InProcesses\n"
        "async def main():\n    apart = InProcesses()\n    print(await apart(os.getpid), flush=True)\n"
        "    await anyio.sleep(600)\nanyio.run(main)\n"
    )
    killed = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True)  # noqa: ASYNC220
    assert killed.stdout is not None
    with killed, killed.stdout:
        pid = int(killed.stdout.readline())
        killed.kill()
    await gone(pid)
