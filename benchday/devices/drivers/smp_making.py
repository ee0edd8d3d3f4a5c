"""How the SMP driver reaches its unit. Needs the extra ``smp``."""

from __future__ import annotations

from functools import partial

from benchday.devices.drivers.place import Place
from benchday.devices.drivers.settings import refuse_unknown, taken_from
from benchday.devices.drivers.smp import SmpDriver
from benchday.devices.drivers.smp_line import Carrier, DatagramCarrier, LineCarrier, SmpLine
from benchday.devices.drivers.smp_settings import SmpLimits, SmpSources
from benchday.devices.links import LineSettings, open_link
from benchday.devices.links.opening import patiently, stably
from benchday.devices.links.place import read_place
from benchday.devices.links.udp import open_udp

DATAGRAMS = "udp"


async def open_smp(place: Place) -> SmpDriver:
    """Open the unit's line, or tie a socket to its address, and speak SMP there.

    Raises:
        InputError: a setting is wrong.
        LinkError: the unit cannot be reached.
    """
    refuse_unknown(place.settings, (LineSettings, SmpLimits, SmpSources))
    line, limits = taken_from(LineSettings, place.settings), taken_from(SmpLimits, place.settings)

    line_again = stably(place.where, partial(open_link, line=line))

    async def open_again() -> Carrier:
        # Read anew each time: a file that names the place says another one after the unit came back elsewhere.
        read = read_place(place.where)
        if read.scheme == DATAGRAMS:
            return DatagramCarrier(await open_udp(read.rest))
        return LineCarrier(await (place.reopen or line_again)())

    carrier = await patiently(open_again, place.where, appears_s=limits.appears_s, poll_s=limits.poll_s)
    return SmpDriver(SmpLine(carrier, open_again, limits), taken_from(SmpSources, place.settings))
