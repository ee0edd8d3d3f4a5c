"""Drivers: what speaks with a unit, by name."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress
from importlib.metadata import entry_points
from typing import cast

import anyio

from benchday.devices.drivers.by_hand import ByHandDriver, InHand
from benchday.devices.drivers.console import ConsoleDriver
from benchday.devices.drivers.console_line import ConsoleLimits
from benchday.devices.drivers.place import Place
from benchday.devices.drivers.settings import refuse_unknown, taken_from
from benchday.devices.drivers.storage import (
    StorageDriver,
    StorageLimits,
    TellingStorageDriver,
    found_within,
    standing,
)
from benchday.devices.drivers.watch import TellingWatchDriver, WatchDriver, WatchLimits
from benchday.devices.drivers.web import WebDriver
from benchday.devices.drivers.web_session import Address, WebLimits, WebSession
from benchday.devices.links import LineSettings, open_link
from benchday.devices.links.drive import Drive, find_drive
from benchday.devices.links.place import read_place
from benchday.domain.errors import InputError, LinkForbidden, LinkNotFound, OurFault
from benchday.domain.seams import Link

Make = Callable[[Place], Awaitable[object]]
GROUP = "benchday.drivers"
"""Entry points of this group are drivers too: each a ``Make``."""


async def make_console(place: Place) -> ConsoleDriver:
    """Open a serial line and speak the serial dialogue on it."""
    refuse_unknown(place.settings, (LineSettings, ConsoleLimits))
    line = taken_from(LineSettings, place.settings)

    async def open_again() -> Link:
        return await open_link(place.where, line)

    limits = taken_from(ConsoleLimits, place.settings)
    first = await _once_it_is_there(open_again, limits)
    return ConsoleDriver(first, place.reopen or open_again, limits=limits)


async def _once_it_is_there(open_it: Callable[[], Awaitable[Link]], limits: ConsoleLimits) -> Link:
    """Open a port that may not have shown up yet; after a while the last refusal stands."""
    for _ in range(round(limits.appears_s / limits.poll_s)):
        with suppress(LinkNotFound, LinkForbidden):
            return await open_it()
        await anyio.sleep(limits.poll_s)

    return await open_it()


async def make_web(place: Place) -> WebDriver:
    """Speak with the unit's own page; signed in when it first asks for that."""
    refuse_unknown(place.settings, (WebLimits,), also=("user", "password"))
    limits = taken_from(WebLimits, place.settings)
    return WebDriver(WebSession(lambda: _address(place), limits), limits=limits)


def _address(place: Place) -> Address:
    read = read_place(place.where)
    if read.scheme != "http":
        raise InputError(f"{place.where} is no address of a unit's page; expected http://address")
    known = {**place.settings, **read.told}

    return Address(f"http://{read.rest}", str(known.get("user", "")), str(known.get("password", "")))


async def make_watch(place: Place) -> WatchDriver:
    """Listen on a serial line and never send."""
    refuse_unknown(place.settings, (LineSettings, WatchLimits))
    limits = taken_from(WatchLimits, place.settings)
    link = await open_link(place.where, taken_from(LineSettings, place.settings))
    book = place.playbook
    if book is None or book.watch is None:
        return WatchDriver(link, limits)
    return TellingWatchDriver(link, limits, book.watch, book.models[0] if len(book.models) == 1 else "")


async def make_storage(place: Place) -> StorageDriver:
    """Work on a unit's mounted drive; a person unmounts it and restarts the unit."""
    refuse_unknown(place.settings, (StorageLimits,))
    storage = place.playbook.storage if place.playbook is not None else None
    if storage is None:
        raise InputError("the driver storage needs the playbook's section storage: where on the drive the image goes")
    if place.ask is None:
        raise OurFault("the driver storage was made without a way to ask an operator")
    told, limits = storage, taken_from(StorageLimits, place.settings)

    def find() -> Drive:
        read = read_place(place.where)
        if read.scheme != "storage":
            raise InputError(f"{place.where} is no drive; expected storage:/folder or storage:label=NAME")
        return standing(find_drive(read.rest, told.label), told)

    drive = await found_within(find, limits.appears_s, limits.poll_s)
    kind = StorageDriver if told.about is None else TellingStorageDriver
    return kind(drive, find, told, place.ask, unit=place.unit, limits=limits)


async def make_by_hand(place: Place) -> ByHandDriver:
    """Ask an operator for everything."""
    refuse_unknown(place.settings, ())
    if place.ask is None:
        raise OurFault("the by-hand driver was made without a way to ask an operator")

    return ByHandDriver(place.ask, in_hand(place))


def in_hand(place: Place) -> InHand:
    """Return what is known beforehand of the unit at a place, for whoever has it in hand."""
    return InHand(place.unit, place.playbook.by_hand if place.playbook is not None else {}, place.packs)


DRIVERS: Mapping[str, Make] = {
    "console": make_console,
    "web": make_web,
    "storage": make_storage,
    "watch": make_watch,
    "by-hand": make_by_hand,
}
"""Name -> maker. All that is built in."""


async def make_driver(name: str, place: Place) -> object:
    """Make the driver of this name, built in or plugged in.

    Raises:
        InputError: there is none, or a setting is wrong.
        LinkError: the unit cannot be reached.
    """
    return await (DRIVERS.get(name) or _plugged_in(name))(place)


def _plugged_in(name: str) -> Make:
    found = entry_points(group=GROUP)
    if name in found.names:
        return cast("Make", found[name].load())

    raise InputError(f"no driver is called {name!r}; there are: {', '.join(sorted({*DRIVERS, *found.names}))}")


__all__ = ["DRIVERS", "GROUP", "Make", "Place", "in_hand", "make_driver"]
