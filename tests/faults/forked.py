"""Runs of a day and its instruments, each in a process forked from one that has everything imported already."""

from __future__ import annotations

import asyncio
import os
import select
import signal
import sys
import traceback
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import anyio

from benchday import wiring
from benchday.bench.day import BenchDay
from benchday.demo.people import DemoPeople
from benchday.demo.run import hands_on
from benchday.record.journal import open_journal
from benchday.record.place import Place
from benchday.wiring import PORTS, SIMULATOR_KEY, RunOptions, opened
from benchday_simulators.serve import Order, run
from tests.faults.days import SPEED, Ground
from tests.faults.points import CountedArchive, CountedJournal, Points, counted_hands, counted_opener

READY_WITHIN_S = 60.0


def forked(work: Callable[[], None], errors: Path) -> int:
    """Do something in a child of this process, whose words go to a file; returns its process number."""
    child = os.fork()
    if child:
        return child
    try:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        with errors.open("a", encoding="utf-8") as out:
            os.dup2(out.fileno(), sys.stderr.fileno())
        work()
    except BaseException:  # noqa: BLE001 - told in the file, whatever it is
        with errors.open("a", encoding="utf-8") as out:
            traceback.print_exc(file=out)
        os._exit(1)
    os._exit(0)


def ended_within(pid: int, seconds: float) -> int | None:
    """Wait for a child; returns its status as ``os.waitpid`` gives it, None if it goes on."""
    descriptor = os.pidfd_open(pid)
    try:
        ready, _, _ = select.select([descriptor], [], [], max(0.0, seconds))
    finally:
        os.close(descriptor)
    return os.waitpid(pid, 0)[1] if ready else None


class Program:
    """One run of the program on a day."""

    def __init__(self, ground: Ground, points: Points, speed: int = SPEED) -> None:
        """Begin to run it."""
        self._ran = ground.folder / "ran.txt"
        self._ran.unlink(missing_ok=True)
        self._ended: str | None = None
        self.pid = forked(lambda: self._run(ground, points, speed), ground.folder / "program.err")

    def _run(self, ground: Ground, points: Points, speed: int) -> None:
        count_journals(points)
        self._ran.write_text(anyio.run(serve, ground, points, "simulated", speed), encoding="utf-8")

    def ended(self, within_s: float) -> str | None:
        """Say how it ended: killed, finished, or what went wrong; None if it goes on."""
        status = ended_within(self.pid, within_s) if self._ended is None else None
        if status is not None and os.WIFSIGNALED(status):
            self._ended = "killed"
        elif status is not None:
            self._ended = self._ran.read_text(encoding="utf-8") if self._ran.exists() else f"status {status}"
        return self._ended

    def kill(self) -> None:
        """Kill it, as nothing can be prevented."""
        os.kill(self.pid, signal.SIGKILL)


async def serve(ground: Ground, points: Points, by: str = "simulated", speed: int = SPEED) -> str:
    """Serve instruments that have been started already; return why it ended.

    Args:
        ground: the day.
        points: pass as the day goes on.
        by: what the demo's people pass for when they answer.
        speed: day seconds to one real second.
    """
    bench = ground.bench(speed)
    hands = hands_on(bench, ground.plan)
    people = _As(by, DemoPeople(bench, ground.scenario, 1, hands))
    options = RunOptions(speed * 1000, 1, hands=counted_hands(hands, points), watch=False)
    async with opened(ground.folder, ground.plan, options) as (tools, _):
        tools.open_driver = counted_opener(tools.open_driver, points)
        tools.archive = CountedArchive(tools.archive, points)
        return await BenchDay(tools).run(people)


class _As:
    """People whose answers come from somewhere else."""

    def __init__(self, by: str, people: DemoPeople) -> None:
        self._by, self._people = by, people

    async def serve(self, desk: Any) -> None:
        await self._people.serve(_Passing(self._by, desk))


class _Passing:
    def __init__(self, by: str, desk: Any) -> None:
        self._by, self._desk = by, desk

    def __getattr__(self, name: str) -> Any:
        return getattr(self._desk, name)

    async def answer(self, item: str, value: Mapping[str, Any], operator: str, _: str) -> None:
        await self._desk.answer(item, value, operator, self._by)


def count_journals(points: Points) -> None:
    """Have every journal of this process pass moments; it does nothing else and ends with the run."""

    def counted(*where: Any, **how: Any) -> CountedJournal:
        return CountedJournal(open_journal(*where, **how), points)

    vars(wiring)["open_journal"] = counted


def digest_once() -> None:
    """Digest the program's own files once for all runs forked from this process: they are the same files."""
    own = wiring.own_digest()
    vars(wiring)["own_digest"] = lambda: own


class Instruments:
    """The simulated units of a day, each a process."""

    def __init__(self, ground: Ground, speed: int = SPEED) -> None:
        """Take them; ``start`` starts them."""
        self._ground, self._speed = ground, speed
        self.pids: dict[str, int] = {}
        (ground.folder / "instruments" / "keeper").write_text(f"{os.getpid()}\n", encoding="ascii")

    def start(self) -> None:
        """Start each that does not run, and wait until all can be reached.

        Raises:
            TimeoutError, OSError: one does not come up.
        """
        waiting = [self._start(number, unit.serial, unit.model) for number, unit in enumerate(self._units())]
        for descriptor in (d for d in waiting if d is not None):
            ready, _, _ = select.select([descriptor], [], [], READY_WITHIN_S)
            said = os.read(descriptor, 4096) if ready else b""
            os.close(descriptor)
            if not said:
                raise TimeoutError("a simulated unit did not start; see its simulator.err")

    def _units(self) -> Any:
        return self._ground.scenario.units

    def _start(self, number: int, serial: str, model: str) -> int | None:
        if serial in self.pids:
            return None
        reading, writing = os.pipe()
        order = self._order(number, serial, model)

        def work() -> None:
            os.setsid()
            sys.stdout = os.fdopen(writing, "w")
            asyncio.run(run(order))

        self.pids[serial] = forked(work, order.directory / "simulator.err")
        os.close(writing)
        return reading

    def _order(self, number: int, serial: str, model: str) -> Order:
        bench = self._ground.bench(self._speed)
        return Order(
            model,
            serial,
            bench.of(serial),
            self._speed,
            self._ground.scenario.seed * 1000 + number,
            trouble=bench.trouble,
            key=Place(bench.record).keys / SIMULATOR_KEY,
            link=bench.folder / PORTS / serial,
            air=bench.instruments / "air",
            keeper=bench.instruments / "keeper",
        )

    def kill(self, serial: str) -> None:
        """Kill one, as nothing can be prevented."""
        self._end(serial, signal.SIGKILL)

    def kill_all_at_once(self) -> None:
        """Kill all; whoever began them has them buried."""
        for pid in self.pids.values():
            os.kill(pid, signal.SIGKILL)

    def bury(self) -> None:
        """Forget those that were killed."""
        for pid in self.pids.values():
            os.waitpid(pid, 0)
        self.pids.clear()

    def stop(self) -> None:
        """End all in order."""
        for serial in list(self.pids):
            self._end(serial, signal.SIGTERM)

    def _end(self, serial: str, how: signal.Signals) -> None:
        pid = self.pids.pop(serial)
        os.kill(pid, how)
        if ended_within(pid, 20.0) is None:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)

    def fallen(self) -> list[str]:
        """Return those that ended by themselves, which none should."""
        gone = [serial for serial, pid in self.pids.items() if ended_within(pid, 0) is not None]
        for serial in gone:
            del self.pids[serial]
        return gone


def preload() -> None:
    """Import what runs import only when they need it, and keep all of it out of the way of the children."""
    import gc  # noqa: PLC0415
    import importlib  # noqa: PLC0415
    import pkgutil  # noqa: PLC0415

    import benchday  # noqa: PLC0415
    import benchday_simulators  # noqa: PLC0415

    for package in (benchday, benchday_simulators):
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if not found.name.endswith(("__main__", "_windows", "kernel")) and ".forecast" not in found.name:
                importlib.import_module(found.name)
    digest_once()
    gc.collect()
    gc.freeze()
