"""Drivers, as the commands list them."""

from benchday.devices.drivers.installed import installed_drivers

__all__ = ["installed_drivers"]
