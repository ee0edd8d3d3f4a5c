"""Serial ports by identity: how a person writes one, and which of those plugged in it is.

``usb:VID:PID:SERIAL[:INTERFACE]`` names an adapter wherever it is plugged in; ``usb-path:BUS-PORT[:INTERFACE]`` names
a socket of the bench PC or a hub, whatever is plugged into it. The numbers are the USB descriptors' own (USB 2.0,
sections 9.6.1 and 9.6.5), BUS-PORT is written as Linux names it (its documentation of /sys/bus/usb). INTERFACE is two
hexadecimal digits, with ``.N`` behind it where one interface has several ports.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from urllib.parse import quote, unquote

from benchday.domain.words import Expected

BY_SERIAL, BY_PATH = "usb", "usb-path"
_WRITTEN_SERIAL = "usb:VID:PID:SERIAL[:INTERFACE], like usb:0403:6001:A10K2F or usb:0403:6011:FT4Q:01"
_WRITTEN_PATH = "usb-path:BUS-PORT[:INTERFACE], like usb-path:1-1.2 or usb-path:1-1.2:01"
_WRITTEN_SERVER = "{0}://host:port, like {0}://192.0.2.7:4001"
_USB = re.compile(r"([0-9A-Fa-f]{4}):([0-9A-Fa-f]{4}):([^:]+)(?::([0-9A-Fa-f]{2})(?:\.(\d{1,2}))?)?")
_PATH = re.compile(r"(\d{1,3}-\d{1,3}(?:\.\d{1,3}){0,6})(?::([0-9A-Fa-f]{2})(?:\.(\d{1,2}))?)?")
_SERVER = re.compile(r"(\[[0-9A-Fa-f:.%a-z]+\]|[^\s:/?#@\[\]]+):(\d{1,5})")
_SERVERS = ("socket", "rfc2217")


@dataclass(frozen=True, slots=True)
class Plugged:
    """A serial port that is there now."""

    device: str
    """How the system calls it today: /dev/ttyUSB0, COM3."""
    description: str = ""
    vid: int | None = None
    """Of the maker of a USB device; None for a port that is not on USB."""
    pid: int | None = None
    serial: str | None = None
    """As the USB device tells it; many cheap adapters tell none, or all the same."""
    location: str | None = None
    """Bus and ports on the way to it, like 1-1.2."""
    interface: int | None = None
    line: int = 0
    """Which port of its interface, counted from 0."""
    power_saving: bool | None = None
    """Whether the system may put the device to sleep while nothing passes; None where it does not tell."""

    @property
    def ids(self) -> str:
        """Vendor and product as they are usually written; empty if it is not on USB."""
        return f"{self.vid:04x}:{self.pid:04x}" if self.vid is not None and self.pid is not None else ""

    def __str__(self) -> str:
        return f"{self.device} ({self.description})" if self.description else self.device


@dataclass(frozen=True, slots=True)
class PortName:
    """A port as a person wrote it, by identity."""

    text: str
    vid: int | None = None
    pid: int | None = None
    serial: str | None = None
    location: str | None = None
    interface: int | None = None
    line: int | None = None

    def fits(self, port: Plugged) -> bool:
        """Tell whether a port is the one that is meant."""
        if self.location is not None:
            right = self.location == port.location
        else:
            right = (self.vid, self.pid, self.serial) == (port.vid, port.pid, port.serial)
        return right and self.interface in (None, port.interface) and self.line in (None, port.line)


def read_port_name(text: str) -> PortName | None:
    """Take a port's name apart; None if it is no identity but a path, an address or a Windows name.

    Raises:
        Expected: it begins like an identity and is none.
    """
    scheme, colon, rest = text.partition(":")
    if not colon:
        return None
    if scheme == BY_SERIAL:
        match = _USB.fullmatch(rest)
        if match is None:
            raise Expected(_WRITTEN_SERIAL, found=text)
        vid, pid, serial, interface, line = match.groups()
        return PortName(text, int(vid, 16), int(pid, 16), unquote(serial), None, _hex(interface), _number(line))
    if scheme == BY_PATH:
        match = _PATH.fullmatch(rest)
        if match is None:
            raise Expected(_WRITTEN_PATH, found=text)
        location, interface, line = match.groups()
        return PortName(text, location=location, interface=_hex(interface), line=_number(line))
    return None


def check_port(text: str) -> str:
    """Return a port as a person wrote it if it can be one, else raise Expected."""
    read_port_name(text)
    scheme, _, rest = text.partition("://")
    if scheme in _SERVERS:
        match = _SERVER.fullmatch(rest)
        if match is None or not 0 < int(match[2]) < 65536:
            raise Expected(_WRITTEN_SERVER.format(scheme), found=text)
    return text


def server_of(text: str | None) -> str | None:
    """Return host and port of the serial server that a port is behind; None if it is behind none."""
    scheme, _, rest = (text or "").partition("://")
    return rest if scheme in _SERVERS else None


def names_for(port: Plugged, plugged: Iterable[Plugged]) -> tuple[str, ...]:
    """Return the shortest names that mean this port and no other that is plugged in; by serial first, if it has one."""
    others = [other for other in plugged if other != port]
    heads = []
    if port.ids and port.serial:
        heads.append(f"{BY_SERIAL}:{port.ids}:{quote(port.serial, safe='')}")
    if port.location:
        heads.append(f"{BY_PATH}:{port.location}")
    return tuple(name for head in heads if (name := _shortest(head, port, others)) is not None)


def _shortest(head: str, port: Plugged, others: Sequence[Plugged]) -> str | None:
    texts = [head]
    if port.interface is not None:
        texts += [f"{head}:{port.interface:02x}", f"{head}:{port.interface:02x}.{port.line}"]
    for text in texts:
        name = read_port_name(text)
        if name is not None and not any(name.fits(other) for other in others):
            return text
    return None


def doubles_of(plugged: Sequence[Plugged]) -> tuple[tuple[Plugged, ...], ...]:
    """Return groups of ports that tell the same vendor, product, serial, interface and line at different places."""
    by_key: dict[tuple[object, ...], list[Plugged]] = {}
    for port in plugged:
        if port.vid is not None:
            by_key.setdefault((port.vid, port.pid, port.serial, port.interface, port.line), []).append(port)
    return tuple(tuple(group) for group in by_key.values() if len(group) > 1)


def what_is_there(plugged: Sequence[Plugged], wanted: str) -> str:
    """Say what is plugged in now, and which name there comes nearest to what was wanted."""
    if not plugged:
        return "no serial port is plugged in"
    named = {port.device: names_for(port, plugged) for port in plugged}
    listed = ", ".join(f"{p.device} = {named[p.device][0]}" if named[p.device] else p.device for p in plugged)
    every = [name for names in named.values() for name in names] + list(named)
    close = difflib.get_close_matches(wanted, every, n=1, cutoff=0.6)
    meant = f"; did you mean {close[0]}?" if close else ""
    return f"plugged in now: {listed}{meant}"


def _hex(text: str | None) -> int | None:
    return int(text, 16) if text is not None else None


def _number(text: str | None) -> int | None:
    return int(text) if text is not None else None
