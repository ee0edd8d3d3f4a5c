"""What a person would read off the unit."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .unit import Unit

BARS = 5


def display(unit: "Unit") -> dict[str, object]:
    """Give the label and, while the unit is on, its display."""
    state = unit.state
    shown: dict[str, object] = {"label_serial": state.serial, "label_model": state.model, "lit": unit.lit.is_set()}
    if not unit.lit.is_set():
        return shown
    air = unit.air()
    percent = state.battery.percent()
    return shown | {
        "serial": state.identity(),
        "release": state.release,
        "mode": state.mode,
        "doing": unit.doing,
        "battery_percent": percent,
        "battery_bars": -(-percent * BARS // 100),
        "external_power": state.external_power,
        "fix": air.fix,
        "base": air.base,
        "satellites": air.satellites,
        "recordings": [recording.name for recording in state.recordings],
        "proof": unit.proof_shown,
    }
