"""Every capability of a driver under every fault, as a matrix that is generated; for our drivers and for plug-ins.

Hand over a maker of ``FaultBed`` (see ``driver_deeds``) and the kind of the way to the unit (``line``, ``datagrams``,
``page``, ``storage`` or ``hand``); ``meet`` gives an outcome for each cell. What is promised, and told as broken
otherwise:

1. Every call ends within the time limit that the bed states.
2. It holds no more of an endless answer than the bed states (measured).
3. It ends with an error of a unit (``benchday.domain.errors.DeviceError``), or with what the unit itself says is so.
4. A fault that only shapes the answers (a byte at a time, joined) puts nothing out.
5. Nobody is lured to another host.
6. Once the fault is over, the driver works again, or one opened anew, if need be on a unit switched off and on.
"""

from __future__ import annotations

import hashlib
import tracemalloc
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractAsyncContextManager, contextmanager, suppress
from dataclasses import dataclass
from typing import Any

import anyio

from benchday.domain.errors import BenchdayError, DeviceError
from benchday.domain.permits import Verb
from benchday.domain.readings import Mode
from benchday.domain.seams import CAPABILITIES, capabilities
from benchday.testing.datagram_faults import DATAGRAM_FAULTS
from benchday.testing.driver_deeds import CHANGES, DEEDS, READINGS, FaultBed, Later, Truth, read, smallest_of
from benchday.testing.faults import LINE_FAULTS, Fault
from benchday.testing.hand_faults import HAND_FAULTS
from benchday.testing.page_faults import PAGE_FAULTS
from benchday.testing.storage_faults import STORAGE_FAULTS

FAULTS: Mapping[str, tuple[Fault, ...]] = {
    "line": LINE_FAULTS,
    "datagrams": DATAGRAM_FAULTS,
    "page": PAGE_FAULTS,
    "storage": STORAGE_FAULTS,
    "hand": HAND_FAULTS,
}
"""Kind of the way to the unit -> what befalls it."""
START, MIDWAY = "from the start", "midway"
AGAIN_WITHIN_S = 60.0
"""Within so many real seconds a driver works again; generous, for a busy computer."""
_HURRIED_TRIES = 2
"""So often it is tried with the limits that it had; then with ample ones, for those may be too small here and now."""

MakeFaultBed = Callable[[], AbstractAsyncContextManager[FaultBed]]


@dataclass(frozen=True, slots=True)
class Cell:
    """One capability under one fault."""

    fault: str
    moment: str
    capability: str

    def __str__(self) -> str:
        return f"{self.capability}, {self.fault} {self.moment}"


@dataclass(frozen=True, slots=True)
class Met:
    """How it went."""

    cell: Cell
    ended: str
    """The error's class, or ``done``."""
    broken: str | None
    """Which promise, if any."""
    held_bytes: int = 0
    """Peak of what was held of an endless answer; 0 where that was not measured."""
    most_bytes: int = 0
    """What may be held of one."""
    seconds: float = 0.0

    @property
    def holds_too_much(self) -> bool:
        """More than may be."""
        return self.held_bytes > self.most_bytes


def cells(kind: str, able: Iterable[str]) -> tuple[Cell, ...]:
    """Return the matrix for a driver with these capabilities."""
    able = tuple(able)
    made = []
    for fault in FAULTS[kind]:
        for capability in CAPABILITIES:
            if capability not in able or (fault.only and capability not in fault.only):
                continue
            made.append(Cell(fault.name, START, capability))
            if capability in ("fetch", "write") and not fault.other:
                made.append(Cell(fault.name, MIDWAY, capability))
    return tuple(made)


async def meet(make: MakeFaultBed, kind: str, wanted: Sequence[Cell], *, beds: int = 2) -> tuple[Met, ...]:
    """Try every cell, on some beds for readings and as many for changes, all at once.

    Args:
        make: of beds; each with a unit of its own.
        kind: of the way to the unit.
        wanted: of ``cells``.
        beds: so many for readings, and so many for changes.
    """
    found: dict[Cell, Met] = {}
    gauge = Gauge()
    faults = {fault.name: fault for fault in FAULTS[kind]}
    row = [(cell, faults[cell.fault]) for cell in wanted]
    async with anyio.create_task_group() as tasks:
        for lane in _lanes(row, beds):
            tasks.start_soon(_meet_lane, make, lane, gauge, found)
    # What is held was measured of all that was met at the same time; who seems to hold too much is met again, alone.
    crowded = [(cell, fault) for cell, fault in row if cell in found and found[cell].holds_too_much]
    for lane in _lanes(crowded, 1):
        await _meet_lane(make, lane, gauge, found)
    return tuple(found[cell] for cell in wanted if cell in found)


def _lanes(row: Sequence[tuple[Cell, Fault]], beds: int) -> list[Sequence[tuple[Cell, Fault]]]:
    """Share cells out to beds: those of readings, those of changes."""
    groups = ([each for each in row if each[0].capability in group] for group in (READINGS, CHANGES))
    return [lane for group in groups for number in range(beds) if (lane := group[number::beds])]


async def _meet_lane(
    make: MakeFaultBed, lane: Sequence[tuple[Cell, Fault]], gauge: Gauge, found: dict[Cell, Met]
) -> None:
    async with make() as bed:
        stand = _Stand(bed)
        await stand.learn()
        try:
            for cell, fault in lane:
                if not fault.other or bed.between.knows_another:
                    found[cell] = await stand.meet(cell, fault, gauge)
        finally:
            await stand.let_go()


class _Stand:
    """A bed, the driver that is open on it, and what is known of its unit."""

    def __init__(self, bed: FaultBed) -> None:
        self._bed = bed
        self._driver: Any = None
        self._patient = True
        self._truth = Truth()

    async def learn(self) -> None:
        """Ask for everything while nothing is wrong."""
        self._driver = await self._bed.open(True)
        able = capabilities(self._driver)
        if "recordings" in able:
            self._truth.recordings = await self._driver.recordings()
        for capability in READINGS:
            if capability in able and (capability != "fetch" or any(r.bytes for r in self._truth.recordings)):
                self._truth.readings[capability] = await read(self._driver, capability, self._truth)

    async def let_go(self) -> None:
        """Close the driver."""
        driver, self._driver = self._driver, None
        if driver is not None:
            with anyio.move_on_after(5, shield=True), suppress(DeviceError):
                await driver.aclose()

    async def meet(self, cell: Cell, fault: Fault, gauge: Gauge) -> Met:
        """Try one cell."""
        bed = self._bed
        if fault.harmless is not self._patient:
            await self.let_go()
            self._patient, self._driver = fault.harmless, await bed.open(fault.harmless)
        with gauge.over(fault) as held:
            visits, began = bed.between.visits, anyio.current_time()
            await bed.between.begin(fault, bed.midway_bytes if cell.moment == MIDWAY else 0)
            try:
                ended, broken, later = await self._tried(cell, fault)
            finally:
                await bed.between.end()
            seconds = anyio.current_time() - began
        if broken is None and held[0] > bed.most_bytes:
            broken = f"held {held[0]} bytes of an endless answer; at most {bed.most_bytes} are allowed"
        if broken is None and bed.between.visits > visits:
            broken = "went where a redirect pointed"
        if broken is None and fault.harmless and ended != "done":
            broken = f"put out by answers that only come in other pieces ({ended})"
        if cell.capability in ("write", "restart") and bed.after_write is not None:
            await bed.after_write()
        again = await self._works_again(cell)
        broken = broken or _fails(later) or again
        return Met(cell, ended, broken, held[0], bed.most_bytes, seconds)

    async def _tried(self, cell: Cell, fault: Fault) -> tuple[str, str | None, Later | None]:
        bed, later = self._bed, None
        try:
            with anyio.fail_after(bed.limit_s):
                later = await DEEDS[cell.capability](bed, self._driver, cell.capability, self._truth, fault)
        except AssertionError as wrong:
            return "done", str(wrong), None
        except DeviceError as error:
            return f"{type(error).__name__}: {error}", None, None
        except TimeoutError:
            return "no end", f"no end within {bed.limit_s:g} s", None
        except Exception as error:  # noqa: BLE001  # whatever a driver lets through is what is asked
            return type(error).__name__, f"{type(error).__name__} is no error of a unit: {error}", None
        return ("done" if later is None else later.told), None, later

    async def _works_again(self, cell: Cell) -> str | None:
        """Return what keeps the driver from working, on a unit that works, after a while and with a person's help."""
        last: object = None
        with anyio.move_on_after(AGAIN_WITHIN_S):
            for attempt in range(1000):
                try:
                    await self._works(cell)
                except (BenchdayError, AssertionError) as error:
                    last = error
                else:
                    return None
                await self.let_go()
                if attempt % 10 == 0:
                    await self._bed.restore()
                if attempt:
                    await anyio.sleep(0.05)
                self._patient = self._patient or attempt >= _HURRIED_TRIES
                with suppress(DeviceError):
                    self._driver = await self._bed.open(self._patient)
        return f"does not work again after the fault: {type(last).__name__}: {last}"

    async def _works(self, cell: Cell) -> None:
        if self._driver is None:
            raise DeviceError("it cannot be opened")
        if "identify" not in self._truth.readings:
            return
        who = await self._driver.identify()
        assert who.serial == self._bed.serial, f"tells {who.serial} for {self._bed.serial}"
        if who.mode is Mode.BOOT and cell.capability in ("write", "restart"):
            await self._write()
            who = await self._driver.identify()
        assert who.mode is Mode.RUN, "the unit does not run"

    async def _write(self) -> None:
        image = self._bed.next_image()
        act = self._bed.make_act(Verb.WRITE_IMAGE, hashlib.sha256(image).hexdigest(), len(image))
        async for _ in self._driver.write(act, image):
            pass
        await self._driver.restart(act)


def _fails(later: Later | None) -> str | None:
    try:
        if later is not None:
            later.check()
    except AssertionError as wrong:
        return str(wrong)
    return None


class Gauge:
    """Measures what the process holds in memory at most, above the beginning: of all who measure at the same time."""

    def __init__(self) -> None:
        self._users = 0
        self._before = 0

    @contextmanager
    def over(self, fault: Fault) -> Iterator[list[int]]:
        """Measure what is held of an endless answer, in bytes; nothing for another fault."""
        held = [0]
        if not fault.endless:
            yield held
            return
        if self._users == 0:
            tracemalloc.start()
            self._before, _ = tracemalloc.get_traced_memory()
        self._users += 1
        try:
            yield held
            held[0] = max(0, tracemalloc.get_traced_memory()[1] - self._before)
        finally:
            self._users -= 1
            if self._users == 0:
                tracemalloc.stop()


__all__ = ["FAULTS", "Cell", "FaultBed", "MakeFaultBed", "Met", "cells", "meet", "smallest_of"]
