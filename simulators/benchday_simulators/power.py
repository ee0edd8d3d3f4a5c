"""The battery over time: what is taken from it, what external power puts in."""

from .models import Model
from .state import Battery, UnitState

EMPTY_MV = 6_600
MV_PER_PERCENT = 18
SECONDS_PER_HOUR = 3600


def draw_mw(model: Model, activity: str) -> int:
    """Give what a unit takes while it is idle, in a transfer or flashing."""
    return {"idle": model.draws.idle_mw, "transfer": model.draws.transfer_mw, "flash": model.draws.flash_mw}[activity]


def balance_mw(model: Model, activity: str, *, lit: bool, external: bool) -> int:
    """Give the power that flows into the pack, negative while it is drained."""
    if external:
        return model.charge_mw
    return -draw_mw(model, activity) if lit else 0


def settle(battery: Battery, flow_mw: int, seconds: float) -> None:
    """Let power flow into or out of the pack for some seconds of physics."""
    charge = battery.charge_mwh + flow_mw * seconds / SECONDS_PER_HOUR
    battery.charge_mwh = max(0.0, min(float(battery.full_mwh), charge))


def reading(state: UnitState, flow_mw: int) -> dict[str, int | bool]:
    """Say what the unit says of its power, in the units of the Smart Battery Data Specification."""
    percent = state.battery.percent()
    mv = EMPTY_MV + MV_PER_PERCENT * percent
    full = percent == 100 and flow_mw > 0
    return {
        "charge_percent": percent,
        "max_error_percent": state.battery.max_error_percent,
        "full_10mwh": state.battery.full_mwh // 10,
        "mv": mv,
        "ma": 0 if full else int(flow_mw * 1000 / mv),
        "temperature_dk": state.battery.temperature_dk,
        "external": state.external_power,
    }
