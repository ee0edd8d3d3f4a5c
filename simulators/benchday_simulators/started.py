"""What a start makes of a unit: the release that was flashed, and what trouble has left behind."""

from datetime import date, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .unit import Unit

SHORTER_BY = timedelta(days=400)


def start(unit: "Unit") -> None:
    """Run what was flashed, and suffer what waits for a restart."""
    state = unit.state
    _choose(unit)
    if state.loop_to_come is not None:
        state.loop, state.loop_to_come = state.loop_to_come, None
    if unit.suffers("settings lost"):
        for name, value in _lost(unit.model.factory_settings(), state.settings).items():
            unit.change_setting(name, value)
    if unit.suffers("options lost"):
        unit.log.write("options", **{"from": state.options, "to": []})
        state.options = []
    if unit.suffers("term lost"):
        _term(unit, "")
    if unit.suffers("term changes") and state.term:
        _term(unit, (date.fromisoformat(state.term) - SHORTER_BY).isoformat())


def _lost(factory: dict[str, str], kept: dict[str, str]) -> dict[str, str]:
    """Give what is left of settings: the factory's, with 0 for numbers; where that changed none, nothing is set."""
    left = {name: "0" if value.isdigit() else value for name, value in factory.items()}
    return left if any(kept.get(name) != value for name, value in left.items()) else dict.fromkeys(left, "unset")


def _choose(unit: "Unit") -> None:
    """Choose what runs: nothing, if the boot loader accepts nothing; the old release, if the new one did not take."""
    state = unit.state
    if unit.suffers("boot loader only"):
        state.last_release = state.release or state.last_release
        state.mode, state.release, state.next_release = "boot", "", ""
        unit.log.write("nothing accepted")
    elif state.next_release:
        version = state.last_release or state.next_release if unit.suffers("old version") else state.next_release
        state.mode, state.release, state.next_release = "run", version, ""


def _term(unit: "Unit", term: str) -> None:
    unit.log.write("term", **{"from": unit.state.term, "to": term})
    unit.state.term = term
