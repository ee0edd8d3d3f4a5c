"""What can go wrong with a card or a stick that a driver reads and writes as a folder: it is pulled, or is full.

The folder is renamed away for as long as it is pulled, as its mount point vanishes from under whoever has files open.
"""

from __future__ import annotations

import shutil
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import anyio
import anyio.abc

from benchday.testing.faults import Fault

_LOOK_S = 0.001
_LATEST_S = 0.02


class Pulled(Fault):
    """The folder is not there."""

    name = "pulled"


class PulledEmpty(Fault):
    """Its mount point is left, empty, and takes what is written there."""

    name = "pulled, mount point left"


class Full(Fault):
    """There is no more room."""

    name = "full"


STORAGE_FAULTS: tuple[Fault, ...] = (Pulled(), PulledEmpty(), Full())
"""What befalls a card. A new fault is one more class, one more line here, and what it does in ``Card``."""


class Card:
    """Stands for a card in a reader; ``begin`` and ``end`` a fault at any time."""

    visits = 0
    knows_another = False

    def __init__(
        self,
        folder: Path,
        fill: Callable[[], None],
        empty: Callable[[], None],
        tasks: anyio.abc.TaskGroup,
    ) -> None:
        self._folder, self._away = folder, folder.with_name(f".{folder.name}.pulled")
        self._fill, self._empty, self._tasks = fill, empty, tasks
        self._fault: Fault | None = None
        self._waiting = anyio.CancelScope()

    @property
    def place(self) -> Path:
        """Where what is on the card lies now: it may have been pulled right after something was written whole."""
        return self._away if self._away.exists() else self._folder

    async def begin(self, fault: Fault, after_bytes: int = 0) -> None:
        """Let a fault begin at once; or once something grew in the folder, or after a fiftieth of a second."""
        if not after_bytes:
            self._do(fault)
            return
        self._waiting = anyio.CancelScope()
        self._tasks.start_soon(self._midway, fault, self._waiting)

    async def end(self) -> None:
        """Let the fault end: the card is back with what was on it, what was written to its mount point is not."""
        self._waiting.cancel()
        if self._away.exists():
            shutil.rmtree(self._folder, ignore_errors=True)
            self._away.rename(self._folder)
        if isinstance(self._fault, Full):
            self._empty()
        self._fault = None

    async def _midway(self, fault: Fault, scope: anyio.CancelScope) -> None:
        with scope:
            before, latest = self._bytes(), anyio.current_time() + _LATEST_S
            while self._bytes() <= before and anyio.current_time() < latest:  # noqa: ASYNC110  # a disk tells nobody
                await anyio.sleep(_LOOK_S)
            # Ended between that look and this line: a cancellation is only met at the next wait.
            if not scope.cancel_called:
                self._do(fault)

    def _do(self, fault: Fault) -> None:
        self._fault = fault
        if isinstance(fault, Full):
            self._fill()
            return
        self._folder.rename(self._away)
        if isinstance(fault, PulledEmpty):
            self._folder.mkdir()

    def _bytes(self) -> int:
        total = 0
        for path in self._folder.rglob("*"):
            with suppress(OSError):
                total += path.stat().st_size
        return total


@asynccontextmanager
async def card(folder: Path, fill: Callable[[], None], empty: Callable[[], None]) -> AsyncIterator[Card]:
    """Stand for the card whose files are in a folder.

    Args:
        folder: what the driver takes for the card; it is renamed, so it must not itself be a mount point.
        fill: leaves no room on the disk that holds it; a small disk of its own.
        empty: makes room again.
    """
    async with anyio.create_task_group() as tasks:
        made = Card(folder, fill, empty, tasks)
        try:
            yield made
        finally:
            await made.end()
            tasks.cancel_scope.cancel()
