"""Why a port cannot be opened, in words for the person at the bench."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path

from serial.tools import list_ports

from benchday.domain.errors import LinkBusy, LinkError, LinkForbidden, LinkNotFound

if sys.platform != "win32":
    import grp

_MOST_PROCESSES = 5000


def open_refused(path: str, error: BaseException) -> LinkError:
    """Translate an error of opening: not found, forbidden, busy, or not a port at all."""
    number = getattr(error, "errno", None) or getattr(error.__cause__ or error.__context__, "errno", None)
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO) or isinstance(error, FileNotFoundError):
        return LinkNotFound(f"there is no port {path}; {_ports_there_are()}")
    if number in (errno.EACCES, errno.EPERM) or isinstance(error, PermissionError):
        return LinkForbidden(forbidden_text(path))
    if number in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK):
        return LinkBusy(f"another program has {path} open{_likely_holder(path)}; close it and try again")

    return LinkNotFound(f"{path} cannot be used as a serial port: {error}; {_ports_there_are()}")


def forbidden_text(path: str) -> str:
    """Say who owns the port and how to be let in."""
    if sys.platform == "win32":
        return f"{path} may not be opened: another program has it, or this user may not use it"

    try:
        gid = os.stat(path).st_gid  # noqa: PTH116
        group = grp.getgrgid(gid).gr_name
    except (OSError, KeyError):
        return f"{path} may not be opened by this user"

    return (
        f"{path} may not be opened by this user; it belongs to the group {group}. Add the user to it "
        f"(usermod -a -G {group} NAME), then log in anew"
    )


def _ports_there_are() -> str:
    ports = sorted(port.device for port in list_ports.comports())
    return f"ports there are: {', '.join(ports)}" if ports else "no serial port is plugged in"


def _likely_holder(path: str) -> str:
    """Name the process that has the port open, where /proc tells without much effort."""
    proc = Path("/proc")
    if not proc.is_dir():
        return ""
    wanted = os.path.realpath(path)
    for folder in list(proc.glob("[0-9]*"))[:_MOST_PROCESSES]:
        if folder.name != str(os.getpid()) and _has_open(folder, wanted):
            return f" (it looks like {_name_of(folder)}, process {folder.name})"

    return ""


def _has_open(process: Path, wanted: str) -> bool:
    try:
        return any(os.readlink(fd) == wanted for fd in (process / "fd").iterdir())  # noqa: PTH115
    except OSError:
        return False


def _name_of(process: Path) -> str:
    try:
        return (process / "comm").read_text(encoding="utf-8").strip()
    except OSError:
        return "a program"
