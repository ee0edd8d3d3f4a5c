"""Put a unit into a folder as a scenario wants it, before its process is started."""

from dataclasses import replace
from pathlib import Path
from typing import TypedDict, Unpack

from .drawing import draw_recordings, draw_sizes, draw_state
from .models import MODELS
from .state import RECORDINGS, Recording, UnitState, save

BREAKS_AT_PERCENT = 50


class Overrides(TypedDict, total=False):
    """What a scenario may say of a unit instead of having it drawn."""

    release: str
    hardware: str
    options: list[str]
    term: str
    reported_serial: str
    mode: str
    """run or boot"""
    charge_percent: float
    full_mwh: int
    max_error_percent: int
    temperature_dk: int
    external_power: bool
    switched_on: bool
    antenna_fitted: bool
    settings: dict[str, str]
    """laid over the factory's"""
    recordings: int | list[int]
    """how many, or the size of each in bytes"""
    broken_recording: int
    """the one (from 1) whose bytes are not what its sum says, and whose reading fails half way"""


PLAIN = ("release", "hardware", "options", "term", "reported_serial", "mode", "external_power", "switched_on")


def prepare(directory: Path, model: str, serial: str, seed: int, **overrides: Unpack[Overrides]) -> None:
    """Write the state and the recordings of a unit; raises ValueError for a model or override that does not exist."""
    if model not in MODELS:
        raise ValueError(f"no model {model!r}; expected one of {', '.join(MODELS)}")
    if unknown := set(overrides) - set(Overrides.__annotations__):
        raise ValueError(f"unknown override {', '.join(sorted(unknown))}")
    state = draw_state(MODELS[model], serial, seed)
    for name in (*PLAIN, "antenna_fitted"):
        if name in overrides:
            setattr(state, name, overrides[name])  # type: ignore[literal-required]
    if state.mode == "boot":
        state.release = ""
    state.settings |= overrides.get("settings", {})
    _battery(state, overrides)
    wanted = overrides.get("recordings")
    sizes = wanted if isinstance(wanted, list) else draw_sizes(state, wanted)
    write_unit(directory, state, sizes, overrides.get("broken_recording", 0))


def _battery(state: UnitState, overrides: Overrides) -> None:
    battery = state.battery
    percent = overrides.get("charge_percent", 100 * battery.charge_mwh / battery.full_mwh)
    battery.full_mwh = overrides.get("full_mwh", battery.full_mwh)
    battery.charge_mwh = battery.full_mwh * percent / 100
    battery.max_error_percent = overrides.get("max_error_percent", battery.max_error_percent)
    battery.temperature_dk = overrides.get("temperature_dk", battery.temperature_dk)


def write_unit(directory: Path, state: UnitState, sizes: list[int], broken: int = 0) -> None:
    """Write a unit's recordings, then its state."""
    folder = directory / RECORDINGS
    folder.mkdir(parents=True, exist_ok=True)
    state.recordings = []
    for number, (recording, data) in enumerate(draw_recordings(state, sizes), 1):
        kept, stored = _break(recording, data) if number == broken else (recording, data)
        (folder / kept.name).write_bytes(stored)
        state.recordings.append(kept)
    save(directory, state)


def _break(recording: Recording, data: bytes) -> tuple[Recording, bytes]:
    middle = len(data) // 2
    return replace(recording, breaks_at_percent=BREAKS_AT_PERCENT), data[:middle] + bytes(len(data) - middle)
