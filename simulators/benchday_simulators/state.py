"""The whole unit as plain data, and `state.json`: replaced atomically and synced at each change."""

import json
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from .troubles import Memory

STATE_FILE = "state.json"
RECORDINGS = "recordings"


@dataclass(frozen=True)
class Recording:
    """One file of observations on the unit."""

    name: str
    bytes: int
    sha256: str
    """the sum the unit reports"""
    breaks_at_percent: int = 0
    """reading fails there; 0: never"""


@dataclass
class Battery:
    """The pack that is fitted."""

    full_mwh: int
    charge_mwh: float
    max_error_percent: int = 5
    temperature_dk: int = 2951
    """tenths of a kelvin"""

    def percent(self) -> int:
        """Give the relative state of charge, rounded down."""
        return max(0, min(100, int(self.charge_mwh * 100 / self.full_mwh)))


@dataclass
class Slots:
    """Two image slots: what runs is the unit's release, this is the rest."""

    running_hash: str
    """of what runs, 64 hex digits"""
    confirmed: bool = True
    """false: what runs is on trial, and the next start goes back"""
    other_version: str = ""
    other_hash: str = ""
    """of what stands in the other slot; empty: nothing that could be started"""
    marked: str = ""
    """the other slot is to be started next: on trial or for good; empty: it is not"""


@dataclass
class Loop:
    """A unit that restarts by itself."""

    left: int
    """how often yet; below 0: until an image is taken"""
    up_s: float
    """how long it stays up in between (real seconds)"""


@dataclass
class UnitState:
    """Everything that a unit keeps while it is off."""

    serial: str
    """as printed on its label"""
    model: str
    hardware: str
    release: str
    seed: int
    options: list[str]
    term: str
    """last day of support, empty when unknown"""
    settings: dict[str, str]
    battery: Battery
    reported_serial: str = ""
    """what its memory says; empty: the same as the label"""
    mode: str = "run"
    next_release: str = ""
    """flashed and waiting for a restart"""
    last_release: str = ""
    """what ran before the last image was begun"""
    writing: str = ""
    """taking or flashing, while an image is under way"""
    recordings: list[Recording] = field(default_factory=list)
    external_power: bool = False
    switched_on: bool = True
    antenna_fitted: bool = True
    slots: Slots | None = None
    """of a unit that has two image slots"""
    user: str = ""
    password: str = ""
    physics_s: float = 0.0
    booted_at_s: float = -3600.0
    boot_until_s: float = 0.0
    trouble: Memory = field(default_factory=Memory)
    """what has happened of its trouble"""
    armed: list[str] = field(default_factory=list)
    """trouble that waits for its effect"""
    stuck: bool = False
    """it answers nothing until it is switched off"""
    loop_to_come: Loop | None = None
    """from the next start on"""
    loop: Loop | None = None
    display: dict[str, object] = field(default_factory=dict)

    def identity(self) -> str:
        """Give the serial that the unit reports."""
        return self.reported_serial or self.serial


def load(directory: Path) -> UnitState | None:
    """Read the state of a unit; None when there is none yet."""
    path = directory / STATE_FILE
    if not path.exists():
        return None
    stored: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    stored["battery"] = Battery(**stored["battery"])
    stored["recordings"] = [Recording(**recording) for recording in stored["recordings"]]
    if stored.get("slots") is not None:
        stored["slots"] = Slots(**stored["slots"])
    stored["trouble"] = Memory(**stored.get("trouble", {}))
    for name in ("loop_to_come", "loop"):
        if stored.get(name) is not None:
            stored[name] = Loop(**stored[name])
    return UnitState(**stored)


def save(directory: Path, state: UnitState) -> None:
    """Replace the state of a unit; it is durable when this returns."""
    fresh = directory / f".{STATE_FILE}.new"
    with fresh.open("w", encoding="utf-8") as out:
        json.dump(asdict(state), out, indent=1, ensure_ascii=False)
        out.write("\n")
        out.flush()
        os.fsync(out.fileno())
    fresh.replace(directory / STATE_FILE)
    _sync_folder(directory)


def _sync_folder(directory: Path) -> None:
    if os.name != "posix":  # only POSIX lets a folder be opened and synced
        return
    fd = os.open(directory, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
