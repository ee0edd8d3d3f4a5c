"""A large bench for a long day: hundreds of units that do not exist, a real record, and time that jumps."""

from __future__ import annotations

import random
from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import asynccontextmanager, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import anyio
import anyio.to_thread

from benchday.bench.beginning import Running, begin_or_take_up
from benchday.bench.book import Book
from benchday.bench.permit_desk import PermitDesk
from benchday.bench.places import Places
from benchday.bench.queue import ItemQueue
from benchday.bench.serving import Tools
from benchday.bench.ticks import Ticks
from benchday.domain.bench import Cable, Station
from benchday.domain.entries import Draft, Entry
from benchday.domain.errors import AlreadyRecorded, InputError
from benchday.domain.permits import Permit, Reading, SpentAct
from benchday.domain.plan import DayPlan
from benchday.domain.plan_says import plan_of
from benchday.domain.playbook import Playbook
from benchday.domain.readings import Progress
from benchday.domain.seams import AskHand, Clock, Journal, ServedBy
from benchday.inputs.day import load_day
from benchday.inputs.sample import write_sample
from benchday.record.archive import open_archive
from benchday.record.journal import open_journal
from benchday.record.personal import open_personal
from benchday.testing.clock import ManualClock
from benchday.wiring import _Personal
from tests.bench.fake_unit import FakeDriver, FakeUnit
from tests.bench.people import People
from tests.bench.shop import Mains, Store
from tests.inputs.conftest import small_image

MINUTE_US = 60_000_000
MODEL = "Millrace"
WRITE_MINUTES = 15
TICKS = 60


def long_plan(folder: Path, units: int, stations: int, hours: int, seed: int) -> DayPlan:
    """Return a day of one model, its units coming evenly from the first hour to two hours before its end."""
    write_sample(folder, 7, build_image=small_image)
    plan = load_day(folder)
    row = next(r for r in plan.roster if r.model == MODEL)
    draw, last = random.Random(seed), max(hours * 60 - 120, 60)
    at = sorted(draw.randrange(0, last) for _ in range(units))
    roster = tuple(
        replace_row(row, serial=f"9{n:011d}", crew=f"crew {n // 3}", arrives=f"{m // 60:02d}:{m % 60:02d}")
        for n, m in enumerate(at)
    )
    bench = plan.bench.model_copy(
        update={
            "stations": tuple(Station(name=f"S{n}") for n in range(1, stations + 1)),
            "cables": tuple(Cable(connector="round", number=f"R{n}") for n in range(1, stations + 1)),
        }
    )
    hours_of = plan.hours.model_copy(update={"opens": "00:00", "closes": "23:59"})
    day = plan.day.model_copy(
        update={"hours": (hours_of,), "policy": plan.day.policy.model_copy(update={"first_off": False})}
    )
    return replace(plan, roster=roster, bench=bench, day=day, terms=None)


def replace_row(row: Any, **changes: Any) -> Any:
    """Return a row of the roster with what changes in it."""
    return replace(row, **{"promised": None, "note": None, "support_until": None, **changes})


class Busy:
    """A journal that says while it is at work: time must not jump over a commit."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self.at_work = 0

    async def append(self, drafts: Sequence[Draft], expect: Sequence[str] = ()) -> tuple[Entry, ...]:
        """Append."""
        with self._working():
            return await self._journal.append(drafts, expect)

    def read(self, after: int = 0) -> tuple[Entry, ...]:
        """Read."""
        return self._journal.read(after)

    async def spend(self, permit: Permit, reading: Reading) -> SpentAct:
        """Spend an act."""
        with self._working():
            return await self._journal.spend(permit, reading)

    async def close(self) -> None:
        """Close."""
        await self._journal.close()

    @contextmanager
    def _working(self) -> Iterator[None]:
        self.at_work += 1
        try:
            yield
        finally:
            self.at_work -= 1


class LongDriver(FakeDriver):
    """Writes as slowly as instruments do, telling its progress all the while."""

    def __init__(self, unit: FakeUnit, clock: Clock) -> None:
        super().__init__(unit)
        self._clock, self._long = clock, unit

    async def write(self, act: SpentAct, image: bytes) -> AsyncIterator[Progress]:
        """Take an image in many pieces."""
        self._long.begin_write(act, image)
        for tick in range(TICKS + 1):
            yield Progress(tick, TICKS, "sending")
            await self._clock.wait_until(self._clock.now() + WRITE_MINUTES * MINUTE_US // TICKS)
        self._long.end_write(image)


class LongPeople(People):
    """People who need a while for each thing, and sometimes do something else at the desk."""

    def __init__(self, units: dict[str, FakeUnit], clock: Clock, seed: int) -> None:
        super().__init__(units)
        self._clock, self._draw = clock, random.Random(seed)
        self._begun: set[str] = set()
        self.acts = 0

    async def serve(self, desk: Any) -> None:
        """Answer every item once it has been looked at."""
        async with anyio.create_task_group() as hands:
            while True:
                open_now = desk.items()
                self._begun &= {i.item.id for i in open_now}
                for asked in open_now:
                    if asked.item.id not in self._begun:
                        self._begun.add(asked.item.id)
                        hands.start_soon(self._answer, desk, asked)
                await desk.changed()

    async def _answer(self, desk: Any, asked: Any) -> None:
        await self._clock.wait_until(self._clock.now() + self._draw.randrange(5, 120) * 1_000_000)
        try:
            if asked.item.unit and self._draw.random() < 0.3:
                self.acts += 1
                await desk.scan(asked.item.unit)
            if self._draw.random() < 0.3:
                self.acts += 1
                await desk.take(asked.item.id, desk.plan.bench.operators[0].name)
        except InputError:
            pass
        value = self.answer_to(desk, asked)
        if value is not None:
            self.acts += 1
            try:
                await self.give(desk, asked, value)
            except (InputError, AlreadyRecorded):
                return


class LongShop:
    """Everything a long day needs, over a record in a folder."""

    def __init__(self, folder: Path, plan: DayPlan, clock: ManualClock, files: dict[str, bytes], seed: int) -> None:
        self.plan, self.clock, self._folder = plan, clock, folder
        self._store = Store(files)
        releases = {i.sha256: i.release for i in plan.images.images}
        draw = random.Random(seed)
        self.units = {
            r.serial: FakeUnit(
                r.serial, r.model, releases, hardware="B", recordings={"A.rnx": draw.randbytes(draw.randrange(50, 500))}
            )
            for r in plan.roster
        }
        self.people = LongPeople(self.units, clock, seed)
        self.journal: Busy | None = None

    async def let_time_pass(self) -> None:
        """Let time jump whenever everybody waits, until cancelled; whoever waits for a thread does not."""
        threads = anyio.to_thread.current_default_thread_limiter()

        def at_work() -> bool:
            return bool(threads.borrowed_tokens or (self.journal is not None and self.journal.at_work))

        while True:
            if not await self.clock.jump(at_work):
                await anyio.sleep(0.0005)

    @asynccontextmanager
    async def opened(self) -> AsyncIterator[Tools]:
        """Open the record, as a program that starts does."""
        record = self._folder / "record"
        journal = self.journal = Busy(open_journal(record, self.plan.bench.bench, self.clock, simulated=False))
        personal = open_personal(record, self.clock.wall())
        try:
            kept = _Personal(personal)
            book = Book(journal, self.clock)
            await begin_or_take_up(book, kept, self.plan, Running(simulated=False, seed=1, speed_milli=1000))
            plan = plan_of(book.state.inputs)
            abilities = {o.name: frozenset(o.may) for o in plan.bench.operators}
            queue = ItemQueue(book, abilities, {c.name: c.text for c in plan.cautions}, personal=kept)
            yield Tools(
                book=book, queue=queue, places=Places(book, plan), desk=PermitDesk(book, queue, plan.day.policy),
                archive=open_archive(record), personal=kept, images=self._store, pc=Mains(), open_driver=self._open,
                ticks=Ticks(self.clock), seed=1, plan=plan,
            )  # fmt: skip
        finally:
            await personal.close()
            await journal.close()

    async def _open(self, playbook: Playbook, unit: str, place: str | None, ask: AskHand) -> ServedBy:
        return LongDriver(self.units[unit], self.clock)
