"""Ports, as the commands list them."""

from benchday.devices.ports import LISTS
from benchday.devices.ports.roots import HERE, Roots
from benchday.devices.ports.troubles import WARNINGS, CablePort, Code, Looked, Trouble, look
from benchday.devices.ports.udev import rules

__all__ = ["HERE", "LISTS", "WARNINGS", "CablePort", "Code", "Looked", "Roots", "Trouble", "look", "rules"]
