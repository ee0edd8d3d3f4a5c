"""Beds for faults, by kind: which driver on which unit, how it is hurried, and what makes the bed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractAsyncContextManager
from functools import cache, partial
from typing import TYPE_CHECKING, Any

import anyio

from benchday.devices.drivers.installed import installed_drivers
from benchday.domain.watch import Watch
from benchday.testing.driver_faults import Cell, Met, cells, meet
from tests.contracts.fault_drives import drive_bed
from tests.contracts.fault_hands import hand_bed
from tests.contracts.fault_kinds import Kind
from tests.contracts.fault_slots import slots_bed
from tests.contracts.fault_streams import stream_bed
from tests.contracts.fault_units import HURRIED, HURRIED_TRANSFER, relayed_bed
from tests.devices.books import sluicepad
from tests.devices.declared import gantry
from tests.devices.hurry import hurried
from tests.devices.pages import hurried_page, shipped

if TYPE_CHECKING:
    from benchday.testing.driver_deeds import FaultBed

_RECEIVER = ("elevation_mask_deg", ("11", "12"))
_SERVED = ("identify", "power", "recordings", "fetch", "settings", "put settings", "write", "restart", "self-test")

_SMP_CAN = ("identify", "recordings", "fetch", "settings", "put settings", "write", "restart", "prove")
_SMP_HURRIED: Mapping[str, Any] = {
    "answer_s": 0.08,
    "erase_s": 0.3,
    "tries": 3,
    "restart_s": 1.0,
    "down_s": 0.05,
    "look_s": 0.1,
    "poll_s": 0.02,
}
_SMP_PATIENT: Mapping[str, Any] = {"answer_s": 0.3, "erase_s": 1.0, "tries": 9, "down_s": 0.1, "poll_s": 0.05}


def _wherry(way: str, *, over: str) -> Kind:
    return Kind(
        way,
        "smp",
        "Wherry",
        slots_bed,
        _SMP_HURRIED,
        _SMP_PATIENT,
        can=_SMP_CAN,
        setting=_RECEIVER,
        serve=("--over", over),
    )


KINDS: dict[str, Kind] = {
    "console on a Millrace": Kind(
        "line",
        "console",
        "Millrace",
        relayed_bed,
        {**HURRIED, **HURRIED_TRANSFER, "answer_s": 0.08, "hello_s": 0.1, "sky_s": 0.1},
        setting=_RECEIVER,
    ),
    "web on an Osier": Kind(
        "page",
        "web",
        "Osier",
        relayed_bed,
        {**HURRIED, "answer_s": 0.1, "settle_s": 0.05, "fetch_bytes_per_s": 200_000},
        setting=_RECEIVER,
    ),
    "page on an Osier": Kind(
        "page",
        "page",
        "Osier",
        relayed_bed,
        {**HURRIED, "answer_s": 0.1, "settle_s": 0.05, "fetch_bytes_per_s": 200_000},
        playbook=hurried_page(),
        can=_SERVED,
        setting=_RECEIVER,
    ),
    "dialogue on a Gantry": Kind(
        "line",
        "dialogue",
        "Gantry",
        relayed_bed,
        {**HURRIED_TRANSFER, "poll_s": 0.02, "list_s": 1.0, "flash_s": 2.0},
        playbook=gantry(),
        hurried_playbook=hurried(gantry(), 0.08, longer={"restart": 0.3, "write": 0.3}),
        can=(*_SERVED, "prove"),
        setting=("search", ("on", "off")),
    ),
    "SMP on a Wherry's line": _wherry("line", over="line"),
    "SMP to a Wherry by datagrams": _wherry("datagrams", over="udp"),
    "a receiver that is only listened to": Kind(
        "line",
        "watch",
        "Reed",
        stream_bed,
        {"listen_s": 0.15, "text_s": 0.15, "poll_s": 0.02},
        {"listen_s": 10.0, "text_s": 10.0, "poll_s": 0.02},
        playbook=shipped("weirstone").model_copy(update={"watch": Watch(serial="SN=", release="FW=")}),
        can=("identify", "position"),
        beds=1,
    ),
    "storage on a Sluicepad": Kind(
        "storage",
        "storage",
        "Sluicepad",
        drive_bed,
        {"appears_s": 0.3, "back_s": 1.0, "gone_s": 0.5, "proof_s": 0.5, "poll_s": 0.02},
        playbook=sluicepad(),
        can=("identify", "recordings", "fetch", "write", "restart", "prove"),
        beds=1,
    ),
    "a Tiller by hand": Kind("hand", "by-hand", "Tiller", hand_bed, {}, setting=("search", ("on", "off")), beds=1),
}
"""A driver more is a line more here."""


HALVES = (tuple(KINDS)[::2], tuple(KINDS)[1::2])
"""Each has its tests in a file of its own, so that two processors meet them at once."""


def bed_of(name: str) -> Callable[[], AbstractAsyncContextManager[FaultBed]]:
    """Return the maker of one kind of bed."""
    kind = KINDS[name]
    return partial(kind.bed, kind)


def matrix(name: str) -> tuple[Cell, ...]:
    """Return the cells of one kind of bed, by what its driver can do."""
    kind = KINDS[name]
    (known,) = (driver for driver in installed_drivers() if driver.name == kind.driver)
    return cells(kind.way, kind.can or known.capabilities or ())


@cache
def outcomes(name: str) -> Mapping[Cell, Met]:
    """Meet the whole matrix of one kind of bed, most of it at once."""

    async def run() -> tuple[Met, ...]:
        return await meet(bed_of(name), KINDS[name].way, matrix(name), beds=KINDS[name].beds)

    return {met.cell: met for met in anyio.run(run)}


def assert_met(bed: str, cell: Cell) -> None:
    """Look at one cell."""
    met = outcomes(bed)[cell]
    assert met.broken is None, f"{cell}: {met.broken} (it ended with: {met.ended})"
