"""A made system: /sys, /proc, /dev and lock files as Linux keeps them, with ports that lead to pseudo-terminals."""

from __future__ import annotations

import shutil
from pathlib import Path

from benchday.devices.ports.roots import Roots


class PortTree:
    """A bench PC that does not exist."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.roots = Roots(folder / "sys", folder / "proc", folder / "dev", folder / "lock")
        for root in (self.tty, self.usb, self.roots.proc, self.roots.dev, self.roots.locks):
            root.mkdir(parents=True)
        for virtual in ("tty", "console", "tty0"):
            (self.tty / virtual).mkdir()

    @property
    def tty(self) -> Path:
        """Where the ports are listed."""
        return self.roots.sys / "class" / "tty"

    @property
    def usb(self) -> Path:
        """Where the USB devices are listed."""
        return self.roots.sys / "bus" / "usb" / "devices"

    def plug(
        self,
        name: str,
        location: str,
        ids: str = "0403:6001",
        serial: str | None = "A10K2F",
        *,
        product: str = "Reedmace cable",
        interface: int = 0,
        line: int = 0,
        power: str = "on",
        leads_to: str | None = None,
    ) -> str:
        """Plug an adapter in; returns its node."""
        device = self.usb / location
        inside = device / f"{location}:1.{interface}"
        vendor, model = ids.split(":")
        self._put(device, idVendor=vendor, idProduct=model, product=product, serial=serial)
        self._put(device / "power", control=power)
        self._put(inside, bInterfaceNumber=f"{interface:02x}")
        acm = name.startswith("ttyACM")
        port = inside if acm else inside / name
        if not acm:
            self._put(port, port_number=str(line))
        bus = self.roots.sys / "bus" / ("usb" if acm else "usb-serial")
        bus.mkdir(parents=True, exist_ok=True)
        self._link(port / "subsystem", bus)
        (self.tty / name).mkdir()
        self._link(self.tty / name / "device", port)
        node = self.roots.dev / name
        if leads_to is None:
            node.touch()
        else:
            node.symlink_to(leads_to)
        return str(node)

    def pull(self, name: str) -> None:
        """Take an adapter out."""
        port = (self.tty / name / "device").resolve()
        device = port if name.startswith("ttyACM") else port.parent
        shutil.rmtree(device.parent)
        shutil.rmtree(self.tty / name)
        (self.roots.dev / name).unlink()

    def process(self, pid: int, name: str, opened: str) -> None:
        """Let a process have a file open."""
        folder = self.roots.proc / str(pid)
        self._put(folder, comm=name)
        (folder / "fd").mkdir()
        (folder / "fd" / "7").symlink_to(opened)

    @staticmethod
    def _put(folder: Path, **files: str | None) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            if text is not None:
                (folder / name).write_text(text + "\n", encoding="utf-8")

    @staticmethod
    def _link(link: Path, target: Path) -> None:
        if not link.is_symlink():
            link.symlink_to(target)
