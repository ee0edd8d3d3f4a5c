"""What a system offers to tell how the bench PC stands."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Supply:
    """Where the power comes from; None is not known."""

    on_mains: bool | None
    percent: int | None
    """Charge of its own battery, 0 to 100."""
    minutes: int | None
    """How long that lasts at the present draw; None while on mains."""


@dataclass(frozen=True, slots=True)
class PcParts:
    """The questions, as one system answers them. All but ``awake`` and ``asleep_us`` may block: called in a thread."""

    supply: Callable[[], Supply]
    clock_set: Callable[[], bool | None]
    never_sleeps: Callable[[], bool]
    """The system has no sleep at all."""
    awake: Callable[[str], AbstractAsyncContextManager[bool]]
    """Takes the reason; yields whether it could be done."""
    asleep_us: Callable[[], int | None] = lambda: None
    """How long the computer has slept since it was started, microseconds; None where that cannot be told."""
