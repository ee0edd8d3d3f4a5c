"""Why a port cannot be opened, in words for the person at the bench."""

from __future__ import annotations

import errno
import os
import sys

from benchday.devices.ports import plugged_in
from benchday.devices.ports.holders import holder_of
from benchday.domain.errors import LinkBusy, LinkError, LinkForbidden, LinkNotFound
from benchday.domain.ports import what_is_there

if sys.platform != "win32":
    import grp
    import pwd


def open_refused(path: str, error: BaseException) -> LinkError:
    """Translate an error of opening: not found, forbidden, busy, or not a port at all."""
    number = getattr(error, "errno", None) or getattr(error.__cause__ or error.__context__, "errno", None)
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO) or isinstance(error, FileNotFoundError):
        return LinkNotFound(f"there is no port {path}; {what_is_there(plugged_in(), path)}")
    if number in (errno.EACCES, errno.EPERM) or isinstance(error, PermissionError):
        return LinkForbidden(forbidden_text(path))
    if number in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK):
        return LinkBusy(busy_text(path, holder_of(path)))

    return LinkNotFound(f"{path} cannot be used as a serial port: {error}; {what_is_there(plugged_in(), path)}")


def busy_text(path: str, holder: str | None) -> str:
    """Say that a port is in use, and by whom where the system tells."""
    likely = f" (it looks like {holder})" if holder else ""
    return f"another program has {path} open{likely}; close it and try again"


def forbidden_text(path: str) -> str:
    """Say who owns the port and how to be let in."""
    if sys.platform == "win32":
        return f"{path} may not be opened: another program has it, or this user may not use it"

    try:
        gid = os.stat(path).st_gid  # noqa: PTH116
        group = grp.getgrgid(gid).gr_name
    except (OSError, KeyError):
        return f"{path} may not be opened by this user"

    belongs = f"{path} may not be opened by this user; it belongs to the group {group}."
    user = _user()
    if user in _members(group) and gid not in os.getgroups():
        return f"{belongs} {user} was added to it since: log in anew, or restart the computer"
    return f"{belongs} Add the user to it (as root: usermod -aG {group} {user}), then log in anew"


if sys.platform != "win32":

    def _user() -> str:
        try:
            return pwd.getpwuid(os.getuid()).pw_name
        except KeyError:
            return "USER"

    def _members(group: str) -> list[str]:
        try:
            return grp.getgrnam(group).gr_mem
        except KeyError:
            return []
