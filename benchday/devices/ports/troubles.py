"""What stands in the way of using a port, and what to do about it: looked at without opening anything."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from benchday.devices.links.port_errors import busy_text, forbidden_text
from benchday.devices.ports import plugged_in
from benchday.devices.ports.holders import holder_before_opening
from benchday.devices.ports.roots import HERE, Roots
from benchday.domain.ports import Plugged, doubles_of, names_for, read_port_name, server_of, what_is_there

May = Callable[[str, int], bool]


class Code(StrEnum):
    """What kind of trouble it is."""

    ABSENT = "absent"
    FORBIDDEN = "forbidden"
    IN_USE = "in use"
    DOUBLE = "double"
    SHARED = "shared"
    POWER_SAVING = "power saving"


WARNINGS = frozenset({Code.SHARED, Code.POWER_SAVING, Code.DOUBLE})
"""What a day can begin with all the same."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing to put right."""

    code: Code
    where: str
    """Cable or port."""
    text: str
    """What is the matter, and what to do."""


@dataclass(frozen=True, slots=True)
class CablePort:
    """A cable of the bench, and where it should appear."""

    number: str
    connector: str
    port: str | None
    device: str | None = None
    """What the system calls it today; None while it is not plugged in, or is behind a server."""


@dataclass(frozen=True, slots=True)
class Looked:
    """What was found."""

    plugged: tuple[Plugged, ...]
    cables: tuple[CablePort, ...] = ()
    in_use: dict[str, str] = field(default_factory=dict)
    """Device -> who has it."""
    troubles: tuple[Trouble, ...] = ()

    def cables_of(self, port: Plugged) -> tuple[CablePort, ...]:
        """Return the cables that appear at a port."""
        real = os.path.realpath(port.device)
        return tuple(c for c in self.cables if c.device is not None and os.path.realpath(c.device) == real)


def look(cables: Sequence[tuple[str, str, str | None]] = (), roots: Roots = HERE, may: May = os.access) -> Looked:
    """Look at all ports and at the cables of a bench.

    Args:
        cables: number, connector and port of each.
        roots: of the system.
        may: whether this user may open a node.
    """
    there = plugged_in(roots)
    found = tuple(_placed(number, connector, port, there) for number, connector, port in cables)
    devices = list(dict.fromkeys([p.device for p in there] + [c.device for c in found if c.device is not None]))
    in_use = {device: holder for device in devices if (holder := holder_before_opening(device, roots)) is not None}
    looked = Looked(there, found, in_use)
    troubles = (
        *_absent(looked),
        *_closed(devices, in_use, may),
        *_doubles(looked),
        *_shared(found),
        *_sleepy(looked, roots),
    )
    return Looked(there, found, in_use, troubles)


def _placed(number: str, connector: str, port: str | None, there: Sequence[Plugged]) -> CablePort:
    name = read_port_name(port) if port is not None else None
    if name is not None:
        fitting = [p.device for p in there if name.fits(p)]
        return CablePort(number, connector, port, fitting[0] if len(fitting) == 1 else None)
    device = port if port is not None and server_of(port) is None and _is_there(port, there) else None
    return CablePort(number, connector, port, device)


def _is_there(port: str, there: Sequence[Plugged]) -> bool:
    return Path(port).exists() or any(p.device.casefold() == port.casefold() for p in there)


def _absent(looked: Looked) -> Iterator[Trouble]:
    for cable in looked.cables:
        if cable.port is None or cable.device is not None or server_of(cable.port) is not None:
            continue
        name = read_port_name(cable.port)
        several = [p for p in looked.plugged if name is not None and name.fits(p)]
        there = what_is_there(several or looked.plugged, cable.port)
        if several:
            text = f"its port {cable.port} means {len(several)} that are plugged in; name the socket of one: {there}"
        else:
            text = f"its port {cable.port} is not plugged in; plug it in, or correct bench.yaml: {there}"
        yield Trouble(Code.ABSENT, f"cable {cable.number}", f"cable {cable.number} ({cable.connector}): {text}")


def _closed(devices: Sequence[str], in_use: dict[str, str], may: May) -> Iterator[Trouble]:
    for device in devices:
        if Path(device).exists() and not may(device, os.R_OK | os.W_OK):
            yield Trouble(Code.FORBIDDEN, device, forbidden_text(device))
        if device in in_use:
            yield Trouble(Code.IN_USE, device, busy_text(device, in_use[device]))


def _doubles(looked: Looked) -> Iterator[Trouble]:
    for group in doubles_of(looked.plugged):
        devices = " and ".join(port.device for port in group)
        paths = ", ".join(f"{p.device} = {names_for(p, looked.plugged)[-1]}" for p in group if p.location)
        text = f"{devices} tell the same of themselves ({group[0].ids}, serial {group[0].serial or 'none'})"
        yield Trouble(Code.DOUBLE, devices, f"{text}: name the sockets in bench.yaml instead: {paths}")


def _shared(cables: Sequence[CablePort]) -> Iterator[Trouble]:
    by_port: dict[str, list[str]] = {}
    for cable in cables:
        if cable.port is not None:
            key = os.path.realpath(cable.device) if cable.device is not None else cable.port
            by_port.setdefault(key, []).append(cable.number)
    for port, numbers in by_port.items():
        if len(numbers) > 1:
            both = " and ".join(numbers)
            text = f"cables {both} have the same port {port}: only one of them can serve at a time; number it once"
            yield Trouble(Code.SHARED, f"cables {both}", text)


def _sleepy(looked: Looked, roots: Roots) -> Iterator[Trouble]:
    told = set[str | None]()
    for port in looked.plugged:
        if port.power_saving and port.location not in told:
            told.add(port.location)
            control = roots.sys / "bus" / "usb" / "devices" / str(port.location) / "power" / "control"
            text = (
                f"{port} may be put to sleep by the system while nothing passes, and then lose what a unit sends; keep "
                f"it awake (as root: echo on > {control}), or for good by the rule that "
                "benchday ports --udev prints"
            )
            yield Trouble(Code.POWER_SAVING, port.device, text)
