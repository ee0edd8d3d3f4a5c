"""The driver that a playbook names: whether there is one, whether it can be used here, and whether it is set right."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from importlib.metadata import entry_points

from benchday.domain.drivers import DriverKnown
from benchday.domain.errors import Mistake
from benchday.domain.playbook import Playbook
from benchday.inputs.outcome import nearest, shown
from benchday.inputs.wording import kind_of
from benchday.inputs.yaml_text import YamlText

BUILT_IN_DRIVERS = ("console", "dialogue", "web", "page", "smp", "storage", "watch", "by-hand")
DRIVERS_GROUP = "benchday.drivers"
"""Entry points of this group name drivers that are plug-ins."""


def driver_names() -> tuple[str, ...]:
    """Return the drivers that a playbook may name: the built-in ones and the installed plug-ins."""
    return (*BUILT_IN_DRIVERS, *sorted({point.name for point in entry_points(group=DRIVERS_GROUP)}))


def driver_mistakes(
    playbook: Playbook, text: YamlText, names: Collection[str], known: Collection[DriverKnown], *, to_use: bool = True
) -> Iterator[Mistake]:
    """Yield what is wrong with a playbook's choice.

    Args:
        playbook: that chooses.
        text: where it stands.
        names: of the drivers that are installed.
        known: what is known of them, so far as somebody has looked.
        to_use: whether a unit is expected that needs it.
    """
    name = playbook.driver.name
    if name not in names:
        expected = "an installed driver: " + ", ".join(names)
        yield text.mistake(("driver", "name"), expected, shown(name), nearest(name, names))
        return
    found = [driver for driver in known if driver.name == name]
    if found and (problem := found[0].problem) is not None:
        if not to_use:
            return
        expected = "a driver that can be used here"
        yield text.mistake(("driver", "name"), expected, f"{name}, which cannot: {shown(problem, 300)}")
    elif found and found[0].settings is not None:
        for setting, value in playbook.driver.settings.items():
            yield from _setting_mistakes(found[0], text, setting, value)


def _setting_mistakes(driver: DriverKnown, text: YamlText, setting: str, value: object) -> Iterator[Mistake]:
    known = driver.settings or {}
    at = ("driver", "settings", setting)
    if setting not in known:
        has = "one of the settings " + ", ".join(sorted(known)) if known else "no settings"
        key = text.keys.get(at, text.spot(at))
        expected = f"{has} for the driver {driver.name}"
        yield Mistake(text.file, key.line, key.column, expected, shown(setting), nearest(setting, known))
        return
    example = known[setting]
    whole_for_part = isinstance(example, float) and type(value) is int
    if not whole_for_part and type(value) is not type(example):
        # A value may be a password: of a text only its kind is told.
        found = "text" if isinstance(value, str) else kind_of(value)
        expected = "text" if isinstance(example, str) else f"something like {kind_of(example)}"
        yield text.mistake(at, f"{expected} for {setting}", found)
