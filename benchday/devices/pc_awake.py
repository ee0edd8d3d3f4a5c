"""Keeping the bench PC awake by a program of the system that lives as long as we do."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from subprocess import DEVNULL

import anyio
from anyio.abc import Process

BEGIN_WITHIN_S = 5.0
END_WITHIN_S = 2.0
_HELLO = b"awake\n"


@asynccontextmanager
async def kept_awake_by(command: Sequence[str]) -> AsyncIterator[bool]:
    """Run a program that keeps the computer awake while the command given to it runs; yields whether it does.

    The command is ``cat``: it answers once sleep is inhibited, and ends by itself when our end of its input closes, so
    that nothing stays behind after a kill.
    """
    try:
        # A session of its own: an interrupt typed at our terminal must not let the computer sleep in a write.
        process = await anyio.open_process([*command, "cat"], stderr=DEVNULL, start_new_session=True)
    except OSError:
        yield False
        return

    try:
        yield await _answers(process)
    finally:
        with anyio.CancelScope(shield=True):
            await _end(process)


@asynccontextmanager
async def kept_awake_by_nothing(_: str) -> AsyncIterator[bool]:
    """Do nothing, where nothing is known that would help."""
    yield False


async def _answers(process: Process) -> bool:
    assert process.stdin is not None and process.stdout is not None  # noqa: S101, PT018 - both are pipes by default
    said = b""
    with anyio.move_on_after(BEGIN_WITHIN_S):
        try:
            await process.stdin.send(_HELLO)
            while _HELLO not in said:
                said += await process.stdout.receive()
        except (anyio.EndOfStream, anyio.BrokenResourceError, anyio.ClosedResourceError, OSError):
            return False

    return _HELLO in said


async def _end(process: Process) -> None:
    assert process.stdin is not None  # noqa: S101 - a pipe by default
    with anyio.move_on_after(END_WITHIN_S):
        await process.stdin.aclose()
        await process.wait()
    if process.returncode is None:
        process.kill()
    await process.aclose()
