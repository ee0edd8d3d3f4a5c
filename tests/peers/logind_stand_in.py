"""A stand-in for the system's login manager on a bus of its own: it hands out inhibitors and says when they end.

Run by Debian's own Python, which has the bindings: ``python3 logind_stand_in.py [WHAT THAT IS REFUSED]``.
"""

# The bindings belong to another Python, which has no types for them.
# mypy: ignore-errors

import os
import sys

import dbus
import dbus.service
from dbus.mainloop.glib import DBusGMainLoop
from gi.repository import GLib

NAME = "org.freedesktop.login1"
refused = sys.argv[1] if len(sys.argv) > 1 else None


def say(line):
    """Say a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


class Inhibitors(dbus.service.Object):
    """Answers as org.freedesktop.login1(5) says of Inhibit: a descriptor that is held as long as the inhibitor."""

    @dbus.service.method(f"{NAME}.Manager", in_signature="ssss", out_signature="h")
    def Inhibit(self, what, who, why, mode):  # noqa: N802 -- the name is the interface's
        """Hand out an inhibitor."""
        if refused and refused in what:
            raise dbus.exceptions.DBusException("refused", name="org.freedesktop.DBus.Error.AccessDenied")
        ours, theirs = os.pipe()
        say(f"held {what} {who} {mode}: {why}")
        GLib.io_add_watch(ours, GLib.IO_HUP, self._ended, what)
        handed = dbus.types.UnixFd(theirs)
        os.close(theirs)
        return handed

    def _ended(self, ours, _, what):
        say(f"ended {what}")
        os.close(ours)
        return False


DBusGMainLoop(set_as_default=True)
bus = dbus.bus.BusConnection(os.environ["DBUS_SYSTEM_BUS_ADDRESS"])
held = (dbus.service.BusName(NAME, bus), Inhibitors(bus, "/org/freedesktop/login1"))
say("ready")
GLib.MainLoop().run()
