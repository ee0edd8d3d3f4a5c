"""What each trouble does to a unit. Others are armed: the unit's parts look for them where they matter."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from .drawing import drawer
from .state import RECORDINGS, Loop, UnitState
from .troubles import Trouble

if TYPE_CHECKING:
    from .unit import Unit

LOOP_UP_S = 1.0
"""how long (real seconds) a looping unit stays up, where the entry does not say"""


def befall(unit: "Unit", trouble: Trouble) -> None:
    """Do to a unit what trouble does at once; done when this returns."""
    act = _ACTS.get(trouble.what)
    if act is None:
        unit.armed.add(trouble.what)
        unit.save()
    else:
        act(unit, trouble)


def _cable_out(unit: "Unit", trouble: Trouble) -> None:
    if unit.face is not None:
        unit.face.pull_cable(trouble.seconds)


def _power_out(unit: "Unit", trouble: Trouble) -> None:
    unit.power_off("power out")
    unit.later(trouble.seconds, lambda: unit.power_on("power back"))


def _battery_empty(unit: "Unit", _: Trouble) -> None:
    unit.settle()
    unit.state.battery.charge_mwh = 0.0
    if not unit.state.external_power:
        unit.power_off("battery empty")
    unit.save()


def _stuck(unit: "Unit", _: Trouble) -> None:
    unit.state.stuck = unit.speech.stuck = True
    unit.save()


def _silent(unit: "Unit", trouble: Trouble) -> None:
    unit.speech.mute(trouble.seconds)


def _drops(unit: "Unit", trouble: Trouble) -> None:
    unit.speech.away(trouble.seconds)


def _slow(unit: "Unit", trouble: Trouble) -> None:
    unit.speech.slow(trouble.factor, trouble.seconds)
    unit.clock.slow(trouble.factor, trouble.seconds)


def _spoil(unit: "Unit", trouble: Trouble) -> None:
    unit.speech.spoil(trouble.what)


def _wrong_serial(unit: "Unit", _: Trouble) -> None:
    unit.state.reported_serial = _other_serial(unit.state)
    unit.save()


def _other_serial(state: UnitState) -> str:
    """Draw a serial of the same form: another unit of the same kind."""
    draw = drawer(state.seed, state.serial, "other")
    other = "".join(draw.choice("0123456789") if one.isdigit() else one for one in state.serial)
    return other if other != state.serial else other[:-1] + ("A" if other[-1:] != "A" else "B")


def _recordings_vanish(unit: "Unit", _: Trouble) -> None:
    gone, unit.state.recordings = unit.state.recordings, []
    told = [{"name": one.name, "bytes": one.bytes, "sha256": one.sha256} for one in gone]
    unit.log.write("vanished", recordings=told)
    unit.save()
    for one in gone:
        (unit.directory / RECORDINGS / one.name).unlink(missing_ok=True)


def _boot_loop(unit: "Unit", trouble: Trouble) -> None:
    unit.state.loop_to_come = Loop(trouble.restarts or -1, trouble.seconds or LOOP_UP_S)
    unit.save()


_ACTS: dict[str, Callable[["Unit", Trouble], None]] = {
    "cable out": _cable_out,
    "wi-fi drops": _drops,
    "power out": _power_out,
    "battery empty": _battery_empty,
    "stuck": _stuck,
    "silent": _silent,
    "slow": _slow,
    "garbled": _spoil,
    "repeated": _spoil,
    "bytes lost": _spoil,
    "wrong serial": _wrong_serial,
    "recordings vanish": _recordings_vanish,
    "boot loop": _boot_loop,
}
