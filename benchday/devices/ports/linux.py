"""Ports as Linux tells of them in /sys (its documentation: ABI/testing/sysfs-bus-usb, ABI/testing/sysfs-tty).

Read here and not through pyserial's list, which tells neither the number of an interface nor which port of it, nor
whether the device may be put to sleep, and cannot be pointed at a made tree.
"""

from __future__ import annotations

import os
from pathlib import Path

from benchday.devices.ports.roots import Roots
from benchday.domain.clean import clean
from benchday.domain.ports import Plugged

_MOST_PORTS = 1000
_MOST_TEXT = 200
_VIRTUAL = ("console", "ptmx", "tty")


def plugged_in(roots: Roots) -> tuple[Plugged, ...]:
    """Return the ports of real hardware, in the order of their names, numbers counted."""
    try:
        names = sorted(p.name for p in (roots.sys / "class" / "tty").iterdir())[:_MOST_PORTS]
    except OSError:
        return ()
    found = [port for name in names if (port := _port(roots, name)) is not None]
    return tuple(sorted(found, key=lambda port: _counted(port.device)))


def _counted(device: str) -> tuple[str, int]:
    head = device.rstrip("0123456789")
    return head, int(device[len(head) :] or 0)


def _port(roots: Roots, name: str) -> Plugged | None:
    entry = roots.sys / "class" / "tty" / name
    if name in _VIRTUAL or not (entry / "device").exists():
        return None
    device = Path(os.path.realpath(entry / "device"))
    subsystem = Path(os.path.realpath(device / "subsystem")).name
    if subsystem == "usb-serial":
        return _on_usb(roots, name, device.parent, int(_text(device, "port_number") or 0))
    if subsystem == "usb":
        return _on_usb(roots, name, device, 0)
    if name.startswith("ttyS") and _text(entry, "type") in (None, "0"):
        return None  # a number that the kernel keeps, without a chip behind it
    return Plugged(str(roots.dev / name), "built in")


def _on_usb(roots: Roots, name: str, interface: Path, line: int) -> Plugged:
    device = interface.parent
    told = [_text(device, "manufacturer"), _text(device, "product"), _text(interface, "interface")]
    power = _text(device / "power", "control")
    return Plugged(
        device=str(roots.dev / name),
        description=" ".join(dict.fromkeys(one for one in told if one)),
        vid=_hex(device, "idVendor"),
        pid=_hex(device, "idProduct"),
        serial=_text(device, "serial") or None,
        location=device.name,
        interface=_hex(interface, "bInterfaceNumber"),
        line=line,
        # "on": it is never put to sleep; "auto": it may be (the kernel's documentation of USB power management).
        power_saving=power == "auto" if power in ("on", "auto") else None,
    )


def _text(folder: Path, name: str) -> str | None:
    """Return a short text of the system's, or of the device's own, without what could disturb a terminal."""
    try:
        with (folder / name).open(encoding="utf-8", errors="replace") as file:
            return clean(file.read(_MOST_TEXT)).strip()
    except OSError:
        return None


def _hex(folder: Path, name: str) -> int | None:
    try:
        return int(_text(folder, name) or "", 16)
    except ValueError:
        return None
