"""The serial ports of the bench PC: what is plugged in, by identity, and what stands in the way of using it."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable
from typing import cast

from benchday.devices.ports.roots import HERE, Roots
from benchday.domain.errors import LinkNotFound
from benchday.domain.ports import Plugged, PortName, what_is_there

LISTS = {"linux": "benchday.devices.ports.linux"}
"""Kind of operating system -> the module that lists the ports there; for all others ``elsewhere`` does."""
ELSEWHERE = "benchday.devices.ports.elsewhere"


def plugged_in(roots: Roots = HERE) -> tuple[Plugged, ...]:
    """Return the serial ports that are there now, in the order of their names."""
    module = importlib.import_module(LISTS.get(sys.platform, ELSEWHERE))
    listed = cast("Callable[[Roots], tuple[Plugged, ...]]", module.plugged_in)
    return listed(roots)


def find(name: PortName, roots: Roots = HERE) -> Plugged:
    """Return the one port that a name means.

    Raises:
        LinkNotFound: none does, or several do.
    """
    there = plugged_in(roots)
    found = [port for port in there if name.fits(port)]
    if not found:
        raise LinkNotFound(f"nothing plugged in is {name.text}; {what_is_there(there, name.text)}")
    if len(found) > 1:
        devices = " and ".join(port.device for port in found)
        raise LinkNotFound(
            f"{name.text} means {devices}, which tell the same of themselves; name the socket of the one that is "
            f"meant; {what_is_there(found, name.text)}"
        )
    return found[0]
