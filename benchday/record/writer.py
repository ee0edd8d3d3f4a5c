"""The one thread that writes: callers hand a job in and wait until it is committed.

While one transaction is being synced, more jobs gather; they make the next transaction together (group commit). A job
that stands alone never shares its transaction with what was handed in after it, nor with what came before.
"""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import anyio

from benchday.domain.errors import RecordError


@dataclass(eq=False, slots=True)
class Job:
    """One thing to write."""

    work: Callable[[Any], Any]
    """Called in the writing thread with what ``commit`` hands it; its answer is what the caller gets."""
    alone: bool = False
    """Has a transaction of its own."""
    answer: Any = None
    error: BaseException | None = None
    waiting: asyncio.Future[Any] | None = field(default=None, repr=False)


Commit = Callable[[Sequence[Job]], None]
"""Writes some jobs in one transaction and sets ``answer`` or ``error`` of each; raises if none could be written."""


class Writer:
    """Owns the thread. What was handed in is written even if nobody waits for it any more."""

    def __init__(self, commit: Commit, name: str) -> None:
        self._commit = commit
        self._queue: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._closed = False
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    async def hand_in(self, job: Job) -> Any:
        """Return the job's answer once it is committed.

        Raises:
            RecordError: the journal is closed.
            BaseException: what the job or the commit raised; then nothing of it was written.
        """
        if self._closed:
            raise RecordError("the journal is closed; open it again")

        job.waiting = asyncio.get_running_loop().create_future()
        self._queue.put(job)
        # The wait is as short as one sync. A caller that is cancelled meanwhile still learns what was written.
        with anyio.CancelScope(shield=True):
            return await job.waiting

    async def close(self) -> None:
        """Write what was handed in, then end the thread."""
        if not self._closed:
            self._closed = True
            self._queue.put(None)
        with anyio.CancelScope(shield=True):
            await anyio.to_thread.run_sync(self._thread.join)

    def _run(self) -> None:
        going_on = True
        while going_on:
            gathered = [self._queue.get()]
            while not self._queue.empty():
                gathered.append(self._queue.get())

            going_on = None not in gathered
            for batch in _batches([job for job in gathered if job is not None]):
                self._write(batch)

    def _write(self, batch: list[Job]) -> None:
        try:
            self._commit(batch)
        except BaseException as error:  # noqa: BLE001 - whatever it is, it belongs to those who wait, and the thread goes on
            for job in batch:
                job.error = error
        _tell(batch)


def _batches(jobs: Sequence[Job]) -> list[list[Job]]:
    batches: list[list[Job]] = []
    for job in jobs:
        if job.alone or not batches or batches[-1][-1].alone:
            batches.append([job])
        else:
            batches[-1].append(job)

    return batches


def _tell(batch: Sequence[Job]) -> None:
    by_loop: dict[asyncio.AbstractEventLoop, list[Job]] = {}
    for job in batch:
        if job.waiting is not None:
            by_loop.setdefault(job.waiting.get_loop(), []).append(job)

    for loop, jobs in by_loop.items():
        try:
            loop.call_soon_threadsafe(_resolve, jobs)
        except RuntimeError:
            # The caller's event loop has ended; what it handed in is written all the same.
            continue


def _resolve(jobs: Sequence[Job]) -> None:
    for job in jobs:
        if job.waiting is None or job.waiting.done():
            continue
        if job.error is not None:
            job.waiting.set_exception(job.error)
        else:
            job.waiting.set_result(job.answer)
