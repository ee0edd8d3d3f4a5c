"""A bench in one process: the real bench over the memory journal and archive, a clock that is told, fake units."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from typing import Any

import anyio

from benchday.bench.beginning import Running, begin_or_take_up
from benchday.bench.book import Book
from benchday.bench.day import BenchDay
from benchday.bench.desk import BenchDesk
from benchday.bench.editing import Look
from benchday.bench.permit_desk import PermitDesk
from benchday.bench.places import Places
from benchday.bench.queue import ItemQueue
from benchday.bench.serving import Tools
from benchday.bench.ticks import Ticks
from benchday.domain.entries import Entry
from benchday.domain.errors import InputError, LinkNotFound
from benchday.domain.fold import DayState, ItemState
from benchday.domain.limits import Limits
from benchday.domain.plan import DayPlan
from benchday.domain.plan_says import plan_of
from benchday.domain.playbook import Playbook
from benchday.domain.releases import Image
from benchday.domain.seams import Archive, AskHand, Operators, PcState, ServedBy
from benchday.domain.steps import State
from benchday.domain.story import UnitStory
from benchday.record.memory import MemoryArchive, MemoryJournal, MemoryPersonal
from benchday.testing.clock import ManualClock
from tests.bench.fake_unit import FakeDriver, FakeUnit
from tests.bench.people import People

INES, TOBIAS = "Ines Halloran", "Tobias Wren"
MINUTE_US = 60_000_000
WITHIN_S = 60
"""Real seconds after which a test has hung."""


class Mains:
    """A bench PC about which there is nothing to say, unless it is told to have slept."""

    slept_us = 0

    async def state(self) -> PcState:
        """Be on mains, with the clock set."""
        return PcState(True, None, None, True, True)

    def asleep_us(self) -> int:
        """Say how long it has slept."""
        return self.slept_us

    @asynccontextmanager
    async def inhibit_sleep(self, why: str) -> AsyncIterator[bool]:
        """Stay awake."""
        assert why
        yield True


class Store:
    """An image store in memory."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self.files = dict(files)

    async def read(self, image: Image) -> bytes:
        """Read a file."""
        if image.file not in self.files:
            raise InputError(f"images/{image.file} cannot be read: No such file or directory")
        return self.files[image.file]


class Beside:
    """Personal data in memory."""

    def __init__(self) -> None:
        self.texts = MemoryPersonal()

    async def keep(self, text: str) -> str:
        """Keep a text."""
        kept = await self.texts.keep(text)
        return f"{kept.id}:{kept.digest}"

    async def look_up(self, reference: str) -> str | None:
        """Find a text."""
        return self.texts.look_up(reference.split(":", 1)[0])


class Shop:
    """Everything a day needs; ``running`` may be entered again and again, as a program is started again and again."""

    def __init__(self, plan: DayPlan, files: Mapping[str, bytes]) -> None:
        self.plan = plan
        self.clock = ManualClock(plan.at_us(plan.hours.opens))
        self.kept = MemoryArchive(room_bytes=1 << 34)
        self.journal = MemoryJournal(plan.bench.bench, self.clock)
        self.archive: Archive = self.kept
        self.store, self.beside = Store(files), Beside()
        releases = {i.sha256: i.release for i in plan.images.images}
        hardware = {"Millrace": "B", "Weirstone": "B", "Osier": "C", "Tiller": "E", "Gantry": "F"}
        self.units = {r.serial: FakeUnit(r.serial, r.model, releases, hardware=hardware[r.model]) for r in plan.roster}
        self.people = People(self.units)
        self.look: Look | None = None
        self.limits = Limits()
        self.paused_s = 0.0
        """How long the stations have paused, had they really waited."""
        self._begun = False

    def only(self, *serials: str, arrives: str | None = "08:00", **changes: Any) -> None:
        """Expect these units alone, all at one time, with what changes in their rows."""
        rows = [next(r for r in self.plan.roster if r.serial == s) for s in serials]
        self.plan = replace(self.plan, roster=tuple(replace(r, arrives=arrives, **changes) for r in rows))

    def somebody_is_awaited(self, serial: str) -> None:
        """Let a unit be expected that nobody checks in: until then the day does not end."""
        self.people.answers[f"check in {serial}"] = None

    def bench(self, **changes: Any) -> None:
        """Change the bench: a number keeps the first so many, anything else takes the place of what is there."""
        bench = self.plan.bench
        for name, kept in changes.items():
            has = getattr(bench, name)
            bench = bench.model_copy(update={name: has[:kept] if isinstance(kept, int) else kept})
        self.plan = replace(self.plan, bench=bench)

    def with_playbooks(self, books: tuple[Playbook, ...]) -> DayPlan:
        """Return the plan with other playbooks."""
        return replace(self.plan, playbooks=books)

    def policy(self, **changes: Any) -> None:
        """Change how the day is run."""
        policy = self.plan.day.policy.model_copy(update=changes)
        self.plan = replace(self.plan, day=self.plan.day.model_copy(update={"policy": policy}))

    @asynccontextmanager
    async def opened(self) -> AsyncIterator[Tools]:
        """Open the record as a program that starts does."""
        if self._begun:
            self.journal = self.journal.reopened()
        self._begun = True
        book = Book(self.journal, self.clock)
        await begin_or_take_up(book, self.beside, self.plan, Running(simulated=False, seed=1, speed_milli=1000))
        plan = plan_of(book.state.inputs)
        abilities = {o.name: frozenset(o.may) for o in plan.bench.operators}
        queue = ItemQueue(book, abilities, {c.name: c.text for c in plan.cautions}, personal=self.beside)
        yield Tools(
            book=book, queue=queue, places=Places(book, plan), desk=PermitDesk(book, queue, plan.day.policy),
            archive=self.archive, personal=self.beside, images=self.store, pc=Mains(), open_driver=self._open,
            ticks=Ticks(self.clock), seed=1, plan=plan, pause=self._pause, limits=self.limits,
        )  # fmt: skip

    @asynccontextmanager
    async def running(self, face: Operators | None = None) -> AsyncIterator[OpenDay]:
        """Run the day beside the test, whose time stands still unless the test moves it.

        The end of the context is the end of the program as a kill would bring it: nothing more is recorded, and not
        even a write is seen through.
        """
        async with self.opened() as tools:
            day = BenchDay(tools, self.look)
            opened = OpenDay(self, day, tools)
            with anyio.fail_after(WITHIN_S):
                async with anyio.create_task_group() as tasks:
                    tasks.start_soon(opened.run, face or self.people)
                    try:
                        yield opened
                    finally:
                        opened.kill()
                        tasks.cancel_scope.cancel()

    async def whole_day(self) -> OpenDay:
        """Run the day to its end; time jumps whenever everybody waits."""
        async with self.running() as day, day.time_passing():
            await day.ended.wait()
        return day

    async def _pause(self, seconds: float) -> None:
        self.paused_s += seconds

    async def _open(self, playbook: Playbook, unit: str, place: str | None, ask: AskHand) -> ServedBy:
        assert playbook.connector is None or place, "a line needs its cable"
        fake = self.units.get(unit)
        if fake is None:
            raise LinkNotFound(f"no port for {unit}")
        fake.meet("open")
        return FakeDriver(fake)

    def entries(self, kind: str, unit: str | None = None) -> list[Entry]:
        """Return the entries of a kind."""
        return [e for e in self.journal.read() if e.kind == kind and (unit is None or e.unit == unit)]

    def facts(self, kind: str, unit: str | None = None) -> list[Mapping[str, Any]]:
        """Return the facts of the entries of a kind."""
        return [e.facts for e in self.entries(kind, unit)]


@dataclass(slots=True)
class OpenDay:
    """A day that runs."""

    shop: Shop
    day: BenchDay
    tools: Tools
    why: str = ""
    ended: anyio.Event = None  # type: ignore[assignment] # set below: it needs a running loop

    def __post_init__(self) -> None:
        self.ended = anyio.Event()

    async def run(self, face: Operators) -> None:
        """Run it."""
        self.why = await self.day.run(face)
        self.ended.set()

    def kill(self) -> None:
        """Let nothing be seen through any more."""
        for shields in self.tools.no_safe_stop.values():
            for shield in shields:
                shield.shield = False

    async def begun_writing(self, *serials: str) -> None:
        """Return when these units stand still half way through a write."""
        for serial in serials:
            self.shop.units[serial].half_way = self.shop.units[serial].half_way or anyio.Event()
        await self.until(lambda: all(self.unit(s).open_act for s in serials))
        await self.settled()

    def go_on_writing(self, serial: str) -> None:
        """Let a write that stands still go on."""
        half_way, self.shop.units[serial].half_way = self.shop.units[serial].half_way, None
        if half_way is not None:
            half_way.set()

    @property
    def desk(self) -> BenchDesk:
        """What the faces see."""
        return self.day.desk

    @property
    def state(self) -> DayState:
        """The day as its entries tell it."""
        return self.tools.book.state

    def unit(self, serial: str) -> UnitStory:
        """What the entries say of a unit."""
        return self.state.units[serial]

    @asynccontextmanager
    async def time_passing(self) -> AsyncIterator[None]:
        """Let time jump to whatever is waited for, whenever everybody waits."""
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(self.shop.clock.run)
            yield
            tasks.cancel_scope.cancel()

    async def until(self, condition: Callable[[], bool]) -> None:
        """Return when the condition holds; it is looked at after each entry."""
        await self.tools.book.until(condition)

    async def until_state(self, serial: str, *states: State) -> None:
        """Return when a unit has come so far."""
        await self.until(lambda: serial in self.state.units and self.unit(serial).state in states)

    async def item(self, topic: str, unit: str | None = None) -> ItemState:
        """Return the open item on a topic, waiting for it."""
        await self.until(lambda: bool(self.items(topic, unit)))
        return self.items(topic, unit)[0]

    def items(self, topic: str, unit: str | None = None) -> Sequence[ItemState]:
        """Return the open items on a topic."""
        return [i for i in self.desk.items() if i.item.topic == topic and unit in (None, i.item.unit)]

    async def answer(self, topic: str, unit: str | None = None, who: str = INES, **value: Any) -> None:
        """Answer the open item on a topic, waiting for it."""
        asked = await self.item(topic, unit)
        await self.desk.answer(asked.item.id, value, who, "person")

    async def settled(self) -> None:
        """Return once nobody can go on without an answer or time."""
        await anyio.wait_all_tasks_blocked()
