"""Links: byte streams to a unit, behind one seam (``benchday.domain.seams.Link``).

A place is written ``/dev/ttyUSB0``, ``COM3``, ``serial:/dev/ttyUSB0``, ``usb:0403:6001:A10K2F`` or ``usb-path:1-1.2``
(an adapter by identity), ``socket://192.0.2.7:4001`` (raw TCP, as a serial device server offers it) or
``rfc2217://192.0.2.7:4001`` (the same, with its port set from here), or is the path of a JSON file that says
``{"url": ...}``: a stable name for something whose address changes.
"""

from __future__ import annotations

import sys
from collections.abc import Awaitable, Callable, Mapping

from benchday.devices.links.line import LineSettings
from benchday.devices.links.opening import device_of
from benchday.devices.links.place import read_place
from benchday.devices.links.rfc2217 import open_rfc2217
from benchday.devices.links.tcp import open_tcp
from benchday.domain.errors import InputError
from benchday.domain.ports import BY_PATH, BY_SERIAL
from benchday.domain.seams import Link

if sys.platform == "win32":
    from benchday.devices.links.serial_threads import open_serial
else:
    from benchday.devices.links.serial_posix import open_serial

Opener = Callable[[str, LineSettings], Awaitable[Link]]


async def open_by_serial(rest: str, line: LineSettings) -> Link:
    """Open an adapter by what it tells of itself; raises as ``open_link``."""
    return await open_serial(await device_of(f"{BY_SERIAL}:{rest}"), line)


async def open_by_path(rest: str, line: LineSettings) -> Link:
    """Open an adapter by the socket that it is plugged into; raises as ``open_link``."""
    return await open_serial(await device_of(f"{BY_PATH}:{rest}"), line)


SCHEMES: Mapping[str, Opener] = {
    "serial": open_serial,
    "socket": open_tcp,
    "rfc2217": open_rfc2217,
    BY_SERIAL: open_by_serial,
    BY_PATH: open_by_path,
}
"""Scheme -> opener. All there is; a new kind of link is one more line here."""


async def open_link(where: str, line: LineSettings | None = None) -> Link:
    """Open the link to a unit.

    Raises:
        LinkNotFound, LinkForbidden, LinkBusy, LinkSilent: as the operating system says, in words for the bench.
        InputError: the place is of no kind that we know.
    """
    place = read_place(where)
    opener = SCHEMES.get(place.scheme)
    if opener is None:
        raise InputError(f"no kind of link is called {place.scheme!r} (in {where}); possible: {', '.join(SCHEMES)}")

    return await opener(place.rest, line or LineSettings())


__all__ = ["SCHEMES", "LineSettings", "Opener", "open_link"]
