"""Ports as pyserial lists them, for systems other than Linux. Untried on Windows and macOS."""

from __future__ import annotations

import re

from serial.tools import list_ports

from benchday.devices.ports.roots import Roots
from benchday.domain.clean import clean
from benchday.domain.ports import Plugged

_INTERFACE = re.compile(r":(?:x|\d+)\.([0-9A-Fa-f]+)$")


def plugged_in(roots: Roots) -> tuple[Plugged, ...]:  # noqa: ARG001  # the system is asked, not a folder
    """Return the ports, in the order of their names."""
    found = []
    for port in list_ports.comports():
        location = port.location or None
        interface = _INTERFACE.search(location) if location else None
        found.append(
            Plugged(
                device=port.device,
                description=clean(port.description or ""),
                vid=port.vid,
                pid=port.pid,
                serial=clean(port.serial_number) if port.serial_number else None,
                location=location[: interface.start()] if location and interface else location,
                interface=int(interface[1], 16) if interface else None,
            )
        )
    return tuple(sorted(found, key=lambda port: port.device))
