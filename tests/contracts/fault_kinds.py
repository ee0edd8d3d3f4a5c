"""What a kind of bed for faults is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from typing import Any

from benchday.domain.playbook import Playbook
from benchday.testing.driver_deeds import FaultBed


@dataclass(frozen=True, slots=True)
class Kind:
    """A driver on a simulated model, and how it is hurried."""

    way: str
    """One of the ways of ``driver_faults``: which faults there are."""
    driver: str
    model: str
    bed: Callable[[Kind], AbstractAsyncContextManager[FaultBed]]
    """Makes a bed of this kind."""
    hurried: Mapping[str, Any]
    """Settings by which it waits for nothing long."""
    patient: Mapping[str, Any] | None = None
    """Settings with ample limits; a short pause between two tries where nothing is said."""
    playbook: Playbook | None = None
    """For a driver that is told in one what to say."""
    hurried_playbook: Playbook | None = None
    """The same with short limits, where it declares any."""
    can: tuple[str, ...] = ()
    """What such a driver can do, by that playbook."""
    setting: tuple[str, tuple[str, ...]] = ("", ())
    """One that may be changed, and some values for it."""
    serve: tuple[str, ...] = ()
    """More words for the command that serves the unit."""
    beds: int = 4
    """So many for readings, and so many for changes, at once: what takes long is waiting."""
