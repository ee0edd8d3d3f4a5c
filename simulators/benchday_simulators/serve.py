"""Run one unit as a process: bring its parts together, say that it is ready, live until told to end."""

import asyncio
import json
import os
import signal
import sys
from collections.abc import Coroutine
from dataclasses import dataclass
from pathlib import Path

from . import boot_loop
from .air import AirFolder
from .drawing import draw_sizes, draw_state, drawer
from .faces import HostFace, NoFace, SerialFace
from .hands import Hands
from .keeper import until_keeper_is_gone
from .models import MODELS
from .physics import PhysicsClock
from .prepare import write_unit
from .state import UnitState, load
from .troubles import Trouble, Troubles
from .unit import Unit
from .unit_log import UnitLog

BEAT_S = 0.5
"""how often (real seconds) battery, air and display are looked at"""
SHORT_BEAT_S = 0.02
"""how often at most (real seconds) it is looked whether something is due by time"""


class CannotServe(Exception):
    """The unit cannot be started; the words say what to change."""


@dataclass(frozen=True)
class Order:
    """What `serve` was asked for."""

    model: str
    serial: str
    directory: Path
    speed: float
    seed: int
    trouble: Path | None = None
    key: Path | None = None
    link: Path | None = None
    air: Path | None = None
    keeper: Path | None = None
    drive: Path | None = None
    over: str = "line"
    """line or udp, for a unit that can be reached both ways"""
    carrier: str = "pty" if hasattr(os, "openpty") else "tcp"


def build(order: Order) -> Unit:
    """Find or draw the unit of an order; raises CannotServe, BadTrouble (a ValueError)."""
    order.directory.mkdir(parents=True, exist_ok=True)
    log = UnitLog(order.directory / "log.jsonl")
    state = _state(order)
    key = bytes.fromhex(order.key.read_text(encoding="ascii").strip()) if order.key else b""
    clock = PhysicsClock(order.speed, state.physics_s)
    met = Troubles(_troubles(order), state.trouble, lambda name: drawer(state.seed, state.serial, name).random())
    return Unit(order.directory, state, clock=clock, log=log, troubles=met, key=key)


def _troubles(order: Order) -> list[Trouble]:
    if order.trouble is None:
        return []
    # YAML is loaded here only: most units are started without trouble, and twenty of them start at once.
    from .trouble_file import read_troubles  # noqa: PLC0415

    return read_troubles(order.trouble, order.serial, order.model)


def _state(order: Order) -> UnitState:
    state = load(order.directory)
    if state is None:
        state = draw_state(MODELS[order.model], order.serial, order.seed)
        write_unit(order.directory, state, draw_sizes(state))
    if (state.model, state.serial) != (order.model, order.serial):
        raise CannotServe(
            f"{order.directory} holds the {state.model} {state.serial}, not the {order.model} {order.serial}; "
            "name its folder, or an empty one"
        )
    return state


def face_of(unit: Unit, order: Order) -> HostFace:
    """Choose how a host reaches the unit."""
    if unit.model.line == "wifi":
        from .web_face import WebFace  # noqa: PLC0415 the web server is loaded where it is needed

        return WebFace(unit, order.link)
    if unit.model.line == "smp":
        from .smp_faces import SmpDatagramFace, SmpLineFace  # noqa: PLC0415 likewise

        return (
            SmpDatagramFace(unit, order.link) if order.over == "udp" else SmpLineFace(unit, order.link, order.carrier)
        )
    if order.over != "line":
        raise CannotServe(f"a {unit.model.name} cannot be reached over {order.over}; leave out --over")
    if unit.model.line == "page":
        from .book_face import BookFace  # noqa: PLC0415 making certificates takes a moment to load

        return BookFace(unit, order.link)
    if unit.model.line == "drive":
        from .drive_face import DriveFace  # noqa: PLC0415 only units that show a drive need it

        return DriveFace(unit, order.link, order.drive)
    if unit.model.line == "none":
        return NoFace(unit)
    return SerialFace(unit, order.link, order.carrier)


async def live(unit: Unit, face: HostFace) -> None:
    """Boot, serve, restart and go dark, for ever."""
    while True:
        if unit.dark.is_set():
            await face.rest()
        await unit.lit.wait()
        alive = asyncio.create_task(_alive(unit, face))
        dark = asyncio.create_task(unit.dark.wait())
        try:
            await asyncio.wait({alive, dark}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            alive.cancel()
            dark.cancel()
        await asyncio.gather(alive, return_exceptions=True)
        if not alive.cancelled():
            alive.result()


async def _alive(unit: Unit, face: HostFace) -> None:
    """From power-on until the power goes."""
    while True:
        if unit.booting:
            await face.rest()
            await unit.boot()
            await unit.meet("power-on")
        await boot_loop.session(unit, face)
        unit.begin_boot()


async def beat(unit: Unit, air: AirFolder) -> None:
    """Keep battery, radio and display up to date."""
    while True:
        unit.settle()
        if unit.lit.is_set() and not unit.state.external_power and unit.state.battery.charge_mwh <= 0:
            unit.power_off("battery empty")
        air.announce(unit)
        unit.save_if_seen()
        await asyncio.sleep(BEAT_S)


async def meet_times(unit: Unit) -> None:
    """Let what is due by time happen when it is due."""
    while True:
        next_s = unit.next_time_s()
        unit.meet_times()
        left_s = BEAT_S if next_s is None else (next_s - unit.clock.now()) / unit.clock.speed
        await asyncio.sleep(max(SHORT_BEAT_S, min(BEAT_S, left_s)))


async def run(order: Order) -> None:
    """Serve until SIGTERM, or until the keeper is gone; raises CannotServe, BadTrouble (a ValueError)."""
    unit = build(order)
    air = AirFolder(order.air)
    unit.air = lambda: air.hear(unit)
    face = face_of(unit, order)
    unit.face = face
    unit.start()
    where = await face.attach()
    ended = asyncio.Event()
    _end_on_signals(ended)
    work: list[Coroutine[object, object, object]] = [
        live(unit, face),
        beat(unit, air),
        meet_times(unit),
        Hands(unit).work(),
        ended.wait(),
    ]
    if order.keeper is not None:
        work.append(until_keeper_is_gone(order.keeper))
    tasks = [asyncio.create_task(one) for one in work]
    sys.stdout.write(json.dumps({"serial": order.serial, "model": order.model, "pid": os.getpid(), **where}) + "\n")
    sys.stdout.flush()
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        face.detach()
        air.withdraw(order.serial)
        unit.save()
        unit.log.close()
    for task in done:
        task.result()


def _end_on_signals(ended: asyncio.Event) -> None:
    loop = asyncio.get_running_loop()
    for name in (signal.SIGTERM, signal.SIGINT):
        try:
            loop.add_signal_handler(name, ended.set)
        except NotImplementedError:  # this platform's loop has none; the process is ended by the system
            return
