"""The radio: transmitting bases keep small files in a folder, rovers read them."""

import json
import time
from pathlib import Path

from .unit import Air, Unit

FORGOTTEN_AFTER_S = 5.0
"""a base whose file is older than this (real seconds) is not heard any more"""
TRACKS_AFTER_S = 5.0
FIXED_AFTER_S = 20.0
"""seconds of physics since the boot"""
SATELLITES = 14


def on_the_air(unit: Unit) -> bool:
    """Say whether a unit transmits."""
    state = unit.state
    sends = state.settings.get("role") == "base" and state.settings.get("transmit") == "on"
    running = unit.lit.is_set() and state.mode == "run" and not unit.booting
    return sends and running and state.antenna_fitted


def _works_with(release: str) -> str:
    return ".".join(release.split(".")[:2])


class AirFolder:
    """The folder in which all bases of a day are on the air."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder

    def announce(self, unit: Unit) -> None:
        """Keep a transmitting base on the air, take any other unit off it."""
        if self._folder is None:
            return
        path = self._folder / f"{unit.state.serial}.json"
        if not on_the_air(unit):
            path.unlink(missing_ok=True)
            return
        settings = unit.state.settings
        entry = {
            "serial": unit.state.identity(),
            "frequency_khz": settings.get("frequency_khz", ""),
            "bandwidth_hz": settings.get("bandwidth_hz", ""),
            "release": unit.state.release,
            "at": time.time_ns() // 1000,
        }
        self._folder.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        fresh.write_text(json.dumps(entry), encoding="utf-8")
        fresh.replace(path)

    def withdraw(self, serial: str) -> None:
        """Take a unit off the air."""
        if self._folder is not None:
            (self._folder / f"{serial}.json").unlink(missing_ok=True)

    def hear(self, unit: Unit) -> Air:
        """Say what a unit hears now."""
        since_boot = unit.clock.now() - max(unit.state.booted_at_s, unit.state.boot_until_s)
        if not unit.state.antenna_fitted or unit.state.mode != "run" or since_boot < TRACKS_AFTER_S:
            return Air("none", "", 0)
        if unit.state.settings.get("role") != "rover":
            return Air("single", "", SATELLITES)
        base = self._base(unit)
        if base is None:
            return Air("single", "", SATELLITES)
        if _works_with(str(base["release"])) != _works_with(unit.state.release):
            return Air("single", str(base["serial"]), SATELLITES)
        return Air("fixed" if since_boot >= FIXED_AFTER_S else "float", str(base["serial"]), SATELLITES)

    def _base(self, unit: Unit) -> dict[str, object] | None:
        if self._folder is None or not self._folder.is_dir():
            return None
        for path in sorted(self._folder.glob("*.json")):
            try:
                base: dict[str, object] = json.loads(path.read_text(encoding="utf-8"))
            except (OSError, ValueError):
                continue  # a base that has just left
            fresh = time.time_ns() // 1000 - int(str(base["at"])) < FORGOTTEN_AFTER_S * 1e6
            tuned = all(base[name] == unit.state.settings.get(name) for name in ("frequency_khz", "bandwidth_hz"))
            if fresh and tuned and base["serial"] != unit.state.identity():
                return base
        return None
