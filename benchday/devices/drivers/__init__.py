"""Drivers: what speaks with a unit, by name."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import TYPE_CHECKING

from benchday.devices.drivers import plug_ins
from benchday.devices.drivers.by_hand import ByHandDriver, InHand
from benchday.devices.drivers.console import ConsoleDriver
from benchday.devices.drivers.console_line import ConsoleLimits
from benchday.devices.drivers.dialogue import DialogueDriver
from benchday.devices.drivers.dialogue_talk import DialogueLimits
from benchday.devices.drivers.guarded import guarded
from benchday.devices.drivers.makers import as_declared, missing_for, needs, takes
from benchday.devices.drivers.page_making import make_page
from benchday.devices.drivers.place import Place
from benchday.devices.drivers.plug_ins import GROUP, Make
from benchday.devices.drivers.settings import refuse_unknown, taken_from
from benchday.devices.drivers.smp_settings import SmpLimits, SmpSources
from benchday.devices.drivers.storage import (
    StorageDriver,
    StorageLimits,
    TellingStorageDriver,
    found_within,
    standing,
)
from benchday.devices.drivers.storage_proof import asking_at
from benchday.devices.drivers.watch import TellingWatchDriver, WatchDriver, WatchLimits
from benchday.devices.drivers.web import WebDriver
from benchday.devices.drivers.web_session import Address, WebLimits, WebSession
from benchday.devices.links import LineSettings, open_link
from benchday.devices.links.drive import Drive, find_drive
from benchday.devices.links.opening import patiently, stably
from benchday.devices.links.place import PlaceRead, read_place
from benchday.domain.drivers import BUILT_IN
from benchday.domain.errors import InputError, OurFault
from benchday.domain.seams import Link

if TYPE_CHECKING:
    import httpx


@takes(LineSettings, ConsoleLimits)
async def make_console(place: Place) -> ConsoleDriver:
    """Open a serial line and speak the serial dialogue on it."""
    refuse_unknown(place.settings, (LineSettings, ConsoleLimits))
    line = taken_from(LineSettings, place.settings)

    limits = taken_from(ConsoleLimits, place.settings)
    open_again = _opening(place, line)
    first = await patiently(open_again, place.where, appears_s=limits.appears_s, poll_s=limits.poll_s)
    return ConsoleDriver(first, place.reopen or open_again, limits=limits)


@as_declared
@takes(DialogueLimits)
async def make_dialogue(place: Place) -> DialogueDriver:
    """Open a serial line and speak the dialogue on it that the playbook declares."""
    refuse_unknown(place.settings, (DialogueLimits,))
    dialogue = place.playbook.dialogue if place.playbook is not None else None
    if dialogue is None:
        raise InputError("the driver dialogue needs a playbook that declares one, under the key dialogue")
    told = dialogue.line
    line = LineSettings(
        told.baud, told.data_bits, told.parity.value, told.stop_bits, told.dtr, told.rts, told.settle_ms
    )

    limits = taken_from(DialogueLimits, place.settings)
    open_again = _opening(place, line)
    first = await patiently(open_again, place.where, appears_s=limits.appears_s, poll_s=limits.poll_s)
    return DialogueDriver(first, place.reopen or open_again, dialogue, place.unit, limits=limits)


def _opening(place: Place, line: LineSettings) -> Callable[[], Awaitable[Link]]:
    """Return how to open the line at a place, now and again, whatever its port is called then."""

    async def watched(where: str) -> Link:
        return place.watched(await open_link(where, line))

    return stably(place.where, watched)


@takes(WebLimits, user="", password="")
async def make_web(place: Place) -> WebDriver:
    """Speak with the unit's own page; signed in when it first asks for that."""
    refuse_unknown(place.settings, (WebLimits,), also=("user", "password"))
    limits = taken_from(WebLimits, place.settings)
    session = WebSession(lambda: _address(place), limits)
    if place.noted is not None:
        _note_requests(session.client, place.noted)
    return WebDriver(session, limits=limits)


def _note_requests(client: httpx.AsyncClient, noted: Callable[[str], None]) -> None:
    """Tell of requests by method and path alone: the sign-in holds a password."""

    async def asked(request: httpx.Request) -> None:
        noted(f"{request.method} {request.url.path}")

    async def answered(response: httpx.Response) -> None:
        noted(f"{response.request.method} {response.request.url.path}: {response.status_code}")

    client.event_hooks = {"request": [asked], "response": [answered]}


def _address(place: Place) -> Address:
    read = read_place(place.where)
    if read.scheme != "http":
        raise InputError(f"{place.where} is no address of a unit's page; expected http://address")
    known = {**place.settings, **read.told}

    return Address(f"http://{read.rest}", str(known.get("user", "")), str(known.get("password", "")))


@takes(LineSettings, WatchLimits)
async def make_watch(place: Place) -> WatchDriver:
    """Listen on a serial line and never send."""
    refuse_unknown(place.settings, (LineSettings, WatchLimits))
    limits = taken_from(WatchLimits, place.settings)
    open_it = _opening(place, taken_from(LineSettings, place.settings))
    link = await patiently(open_it, place.where, appears_s=limits.appears_s, poll_s=limits.poll_s)
    book = place.playbook
    if book is None or book.watch is None:
        return WatchDriver(link, limits)
    return TellingWatchDriver(link, limits, book.watch, book.models[0] if len(book.models) == 1 else "")


@takes(StorageLimits)
async def make_storage(place: Place) -> StorageDriver:
    """Work on a unit's mounted drive; a person unmounts it and restarts the unit."""
    refuse_unknown(place.settings, (StorageLimits,))
    storage = place.playbook.storage if place.playbook is not None else None
    if storage is None:
        raise InputError("the driver storage needs the playbook's section storage: where on the drive the image goes")
    if place.ask is None:
        raise OurFault("the driver storage was made without a way to ask an operator")
    told, limits = storage, taken_from(StorageLimits, place.settings)

    def read_it() -> PlaceRead:
        return read_place(place.where)

    def find() -> Drive:
        read = read_it()
        if read.scheme != "storage":
            raise InputError(f"{place.where} is no drive; expected storage:/folder or storage:label=NAME")
        return standing(find_drive(read.rest, told.label), told)

    drive = await found_within(find, limits.appears_s, limits.poll_s)
    kind = StorageDriver if told.about is None else TellingStorageDriver
    asking = asking_at(read_it, limits.proof_s)
    return kind(drive, find, told, place.ask, unit=place.unit, limits=limits, ask_proof=asking)


@takes()
async def make_by_hand(place: Place) -> ByHandDriver:
    """Ask an operator for everything."""
    refuse_unknown(place.settings, ())
    if place.ask is None:
        raise OurFault("the by-hand driver was made without a way to ask an operator")

    return ByHandDriver(place.ask, in_hand(place))


@as_declared
@takes(LineSettings, SmpLimits, SmpSources)
@needs("smp", "smp", "cbor2", "crcmod")
async def make_smp(place: Place) -> object:
    """Speak SMP on a serial line, or in datagrams (udp://host:port); needs the extra ``smp``."""
    from benchday.devices.drivers.smp_making import open_smp  # noqa: PLC0415  # an extra: not always there

    return await open_smp(place)


def in_hand(place: Place) -> InHand:
    """Return what is known beforehand of the unit at a place, for whoever has it in hand."""
    return InHand(place.unit, place.playbook.by_hand if place.playbook is not None else {}, place.packs)


DRIVERS: Mapping[str, Make] = {
    "console": make_console,
    "dialogue": make_dialogue,
    "web": make_web,
    "page": make_page,
    "smp": make_smp,
    "storage": make_storage,
    "watch": make_watch,
    "by-hand": make_by_hand,
}
"""Name -> maker. All that is built in."""


async def make_driver(name: str, place: Place) -> object:
    """Make the driver of this name, built in or plugged in.

    Raises:
        InputError: there is none, it cannot be used here, or a setting is wrong.
        DeviceError: the unit cannot be reached, or a plug-in failed.
    """
    built_in = DRIVERS.get(name)
    if built_in is not None:
        if missing := missing_for(built_in, BUILT_IN):
            raise InputError(f"the driver {name} cannot be used here: {missing}")
        return await built_in(place)
    if name not in (claimed := plug_ins.names()):
        raise InputError(f"no driver is called {name!r}; there are: {', '.join(sorted({*DRIVERS, *claimed}))}")

    return await guarded(name, plug_ins.plugged_in(name), place)


__all__ = ["DRIVERS", "GROUP", "Make", "Place", "in_hand", "make_driver"]
