"""Makes the driver of a declared page."""

from __future__ import annotations

from benchday.devices.drivers.makers import as_declared, takes
from benchday.devices.drivers.page import PageDriver
from benchday.devices.drivers.page_session import Way
from benchday.devices.drivers.page_wire import Adapter, Pin
from benchday.devices.drivers.place import Place
from benchday.devices.drivers.settings import refuse_unknown, taken_from
from benchday.devices.drivers.web_session import Address, WebLimits
from benchday.devices.links.place import read_place
from benchday.domain.errors import InputError
from benchday.domain.page import Page


@as_declared
@takes(WebLimits, user="", password="")
async def make_page(place: Place) -> PageDriver:
    """Speak with the unit's own page as its playbook declares it; nothing is sent yet.

    Raises:
        InputError: the playbook declares no page, the place is none, or a setting is wrong.
    """
    page = place.playbook.page if place.playbook is not None else None
    if page is None:
        raise InputError("the driver page needs a playbook that declares the unit's page under page")
    refuse_unknown(place.settings, (WebLimits,), also=("user", "password"))
    way = Way(
        find=lambda: _address(place, page),
        pin=Pin(place.unit, place.certificates),
        adapter=Adapter(place.through.get("interface", ""), place.through.get("bind", "")),
        limits=taken_from(WebLimits, place.settings),
    )
    return PageDriver(page, way, unit=place.unit)


def _address(place: Place, page: Page) -> Address:
    read = read_place(place.where)
    if read.scheme != page.scheme:
        raise InputError(f"{place.where} is no address of this unit's page; expected {page.scheme}://address")
    host = read.rest.partition("/")[0]
    port = f":{page.port}" if page.port is not None and not _names_a_port(host) else ""
    known = {**place.settings, **read.told}
    return Address(f"{page.scheme}://{host}{port}", str(known.get("user", "")), str(known.get("password", "")))


def _names_a_port(host: str) -> bool:
    """Tell whether an authority names a port (RFC 3986 3.2); an IPv6 address has colons of its own, in brackets."""
    return ":" in host.rpartition("]")[2]
