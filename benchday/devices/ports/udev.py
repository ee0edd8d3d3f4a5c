"""A rule for Linux's udev: adapters that no other program looks into, and that stay awake.

Keys as in udev(7); ID_MM_DEVICE_IGNORE and ID_MM_PORT_IGNORE are what programs that look for modems honour, by their
documentation; power/control as in the kernel's documentation of USB power management.
"""

from __future__ import annotations

from collections.abc import Iterable

from benchday.domain.ports import Plugged

FILE = "/etc/udev/rules.d/60-benchday.rules"
HEAD = f"""\
# For the adapters and units of this bench: programs that look for modems leave them alone, and the system does not put
# them to sleep. Save this as {FILE}, then as root:
#   udevadm control --reload && udevadm trigger --subsystem-match=usb --subsystem-match=tty
"""

_ALONE_AND_AWAKE = 'ENV{ID_MM_DEVICE_IGNORE}="1", TEST=="power/control", ATTR{power/control}="on"'


def rules(plugged: Iterable[Plugged]) -> str:
    """Return the text of the rules for the USB devices among these."""
    lines = [HEAD.rstrip()]
    seen = set[str]()
    for port in plugged:
        if not port.ids or port.ids in seen:
            continue
        seen.add(port.ids)
        device = f'ATTR{{idVendor}}=="{port.vid:04x}", ATTR{{idProduct}}=="{port.pid:04x}"'
        parent = f'ATTRS{{idVendor}}=="{port.vid:04x}", ATTRS{{idProduct}}=="{port.pid:04x}"'
        lines += [
            f"# {port.description or port.ids}",
            f'ACTION!="remove", SUBSYSTEM=="usb", ENV{{DEVTYPE}}=="usb_device", {device}, {_ALONE_AND_AWAKE}',
            f'ACTION!="remove", SUBSYSTEM=="tty", {parent}, ENV{{ID_MM_PORT_IGNORE}}="1"',
        ]
    if not seen:
        lines.append("# No USB adapter is plugged in: plug in those of the bench, and have this printed again.")
    return "\n".join(lines) + "\n"
