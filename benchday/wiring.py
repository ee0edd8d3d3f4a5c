"""The only place where real things are built and joined."""

from __future__ import annotations

import hashlib
import os
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import cast

import anyio
import anyio.to_thread

from benchday.bench.apart import Apart, in_processes
from benchday.bench.at_rest import at_rest
from benchday.bench.beginning import Running, begin_or_take_up, is_under_way
from benchday.bench.book import Book
from benchday.bench.day import BenchDay
from benchday.bench.editing import Edit, Look
from benchday.bench.foreseeing import Foreseer, Pace
from benchday.bench.permit_desk import PermitDesk
from benchday.bench.places import Places
from benchday.bench.queue import Hands, ItemQueue
from benchday.bench.serving import Tools
from benchday.bench.ticks import Ticks
from benchday.devices.bench_pc import steady_pc, this_pc
from benchday.devices.completed import completed
from benchday.devices.drivers import Place as UnitPlace
from benchday.devices.drivers import in_hand, make_driver
from benchday.devices.drivers.by_hand import ByHandDriver
from benchday.devices.drivers.by_hand_questions import Question as HandQuestion
from benchday.devices.transcript import Noted, Transcript
from benchday.devices.trying import Trial
from benchday.domain.bench import Adapter, Instruments
from benchday.domain.errors import InputError, LinkError, LinkNotFound, MistakesFound
from benchday.domain.fold import DayState, fold
from benchday.domain.image_lists import SeenList, newest_seen
from benchday.domain.plan import DayPlan
from benchday.domain.plan_says import plan_of, without_personal
from benchday.domain.playbook import Playbook
from benchday.domain.releases import Image
from benchday.domain.seams import AskHand, Operators, Question, ServedBy
from benchday.inputs.changes import differences
from benchday.inputs.day import load_day
from benchday.inputs.source import plain_bytes
from benchday.planning.forecast.learnt import known_from
from benchday.planning.records import durations_of
from benchday.record.archive import open_archive
from benchday.record.attached import keep_file
from benchday.record.certificates import KnownCertificates
from benchday.record.clock import DayClock
from benchday.record.journal import open_journal
from benchday.record.personal import Personal, open_personal
from benchday.record.place import Place as RecordPlace
from benchday.record.place import record_folder
from benchday.record.reading import is_begun, open_reader
from benchday.record.verifying import refuse_damaged

SIMULATOR_KEY = "simulators.key"
"""File in the record's keys/ with the day's key, 64 hex digits."""
PORTS = Path("instruments", "ports")
"""Where simulated instruments keep stable links to their ports, below the day's folder."""
LOOK_EVERY_S = 2.0
_MORE_THAN_LISTED = 1 << 20
"""So much more of an image is read that the check can say by how much it is too long (bytes)."""


@dataclass(frozen=True, slots=True)
class RunOptions:
    """How a day is run."""

    speed_milli: int = 1000
    """Thousandths of day seconds to one real second; a real day has 1000."""
    seed: int = 1
    record: Path | None = None
    hands: Hands | None = None
    """Does to simulated units what people say they did."""
    watch: bool = True
    """Offer edits of the day's files while it runs."""
    pace: Pace | None = None
    """How much of the rest of the day is foreseen, and how often; None: nothing."""
    linger: bool = False
    """Stay until closing time while a unit is held, so that somebody can lift it."""


@dataclass(frozen=True, slots=True)
class Ended:
    """How a run ended."""

    state: DayState
    why: str
    """finished, stopped, or nobody (a person is needed and nobody is there)."""


def own_digest() -> str:
    """Return SHA-256 over the program's own files: name, size and bytes of each, in the order of their names."""
    root, digest = Path(__file__).parent, hashlib.sha256()
    for path in sorted(p for p in root.rglob("*") if p.is_file() and "__pycache__" not in p.parts):
        data = path.read_bytes()
        digest.update(f"{path.relative_to(root).as_posix()}\0{len(data)}\0".encode())
        digest.update(data)
    return digest.hexdigest()


def simulator_key(record: Path) -> bytes | None:
    """Return the day's key of a simulated record; None if none was drawn."""
    path = RecordPlace(record).keys / SIMULATOR_KEY
    return bytes.fromhex(path.read_text(encoding="ascii").strip()) if path.is_file() else None


async def run_day(folder: Path, options: RunOptions, operators: Operators) -> Ended:
    """Run the day of a folder until it is done or stopped.

    Raises:
        MistakesFound: the day's files hold mistakes.
        RecordError: the record is held by another program, damaged, or of the other sort.
    """
    plan = await anyio.to_thread.run_sync(load_day, folder)
    async with opened(folder, plan, options) as (tools, _):
        look = _looker(folder) if options.watch else None
        async with in_processes() as apart:
            foreseer = await _foreseer(tools, options.pace, apart) if options.pace is not None else None
            day = BenchDay(tools, look, foreseer, linger=options.linger)
            with at_rest():
                why = await day.run(operators)
        return Ended(tools.book.state, why)


@asynccontextmanager
async def trial(playbook: Playbook, where: str, unit: str, note: Callable[[Noted], None]) -> AsyncIterator[Trial]:
    """Open the driver of a playbook to be tried on a unit, reading only.

    Args:
        playbook: names the driver, and may declare a dialogue.
        where: a port or an address.
        unit: serial, for a dialogue that says it.
        note: gets what is said and heard.

    Raises:
        InputError, LinkError
    """
    transcript = Transcript(note)
    at = UnitPlace(
        where,
        dict(playbook.driver.settings),
        playbook=playbook,
        unit=unit,
        watched=transcript.watched,
        noted=transcript.request,
    )
    driver = await make_driver(playbook.driver.name, at)
    asked = playbook.dialogue.self_test if playbook.dialogue is not None else None
    try:
        yield Trial(driver, self_test=asked is not None and not asked.moves)
    finally:
        close = getattr(driver, "aclose", None)
        if close is not None:
            await close()


@asynccontextmanager
async def opened(folder: Path, plan: DayPlan, options: RunOptions) -> AsyncIterator[tuple[Tools, bool]]:
    """Open everything a day needs, and begin the day or take it up; tells whether it was under way."""
    simulated = plan.day.instruments is Instruments.SIMULATED
    if not simulated and options.speed_milli != 1000:
        raise InputError("a day of real instruments runs at speed 1")
    record = record_folder(folder, plan.day.record, options.record)
    refuse_damaged(record)
    clock = _clock(record, plan, options, simulated=simulated)
    journal = open_journal(
        record, plan.bench.bench, clock, simulated=simulated, simulator_key=simulator_key(record) if simulated else None
    )
    try:
        personal = open_personal(record, clock.wall())
        try:
            kept = _Personal(personal)
            book = Book(journal, clock)
            running = Running(simulated, options.seed, options.speed_milli, await anyio.to_thread.run_sync(own_digest))
            others = await anyio.to_thread.run_sync(_seen_by_others, record, plan.bench.bench)
            under_way = await begin_or_take_up(book, kept, plan, running, others)
            yield _tools(folder, record, book, kept, options), under_way
        finally:
            await personal.close()
    finally:
        await journal.close()


def _seen_by_others(record: Path, bench: str) -> SeenList:
    """Return the newest image list that other benches of this record have used."""
    with open_reader(record) as reader:
        return newest_seen(e for other in reader.benches() if other != bench for e in reader.read(other))


def _tools(folder: Path, record: Path, book: Book, personal: _Personal, options: RunOptions) -> Tools:
    plan = plan_of(book.state.inputs)
    abilities = {o.name: frozenset(o.may) for o in plan.bench.operators}
    texts = {c.name: c.text for c in plan.cautions}
    archive = open_archive(record)
    keep = partial(keep_file, archive)
    queue = ItemQueue(book, abilities, texts, personal=personal, hands=options.hands, keep_file=keep)
    opener = _Opener(folder, plan, record)
    return Tools(
        book=book,
        queue=queue,
        places=Places(book, plan),
        desk=PermitDesk(book, queue, plan.day.policy),
        archive=archive,
        personal=personal,
        images=_Images(folder / plan.day.image_store),
        pc=steady_pc() if plan.day.instruments is Instruments.SIMULATED else this_pc(),
        open_driver=opener,
        trust=opener.trust,
        ticks=Ticks(book.clock),
        records=durations_of(book.entries()),
        seed=int((book.state.begun or {}).get("seed", options.seed)),
        plan=plan,
    )


async def _foreseer(tools: Tools, pace: Pace, apart: Apart) -> Foreseer:
    entries = tools.book.entries()
    known = await anyio.to_thread.run_sync(known_from, entries, tools.seed)
    return Foreseer(tools, known, pace, apart)


def _clock(record: Path, plan: DayPlan, options: RunOptions, *, simulated: bool) -> DayClock:
    """Real days run on the computer's clock; simulated ones go on from where they were, without a jump."""
    asleep_us = this_pc().asleep_us
    if not simulated:
        return DayClock(asleep_us=asleep_us)
    at = plan.at_us(plan.hours.opens)
    if is_begun(record):
        with open_reader(record) as reader:
            state = fold(reader.read(plan.bench.bench))
        if is_under_way(state, plan):
            at = state.at_us
    return DayClock(at, options.speed_milli, asleep_us=asleep_us, stands_still=True)


def _looker(folder: Path) -> Look:
    """Compare the files with the plan in force every two seconds; each edit is told once.

    They are read only when one of them has changed: reading takes a while, and lines wait for it.
    """
    seen: dict[str, str] = {}

    async def look(in_force: DayPlan) -> Edit | None:
        await anyio.sleep(LOOK_EVERY_S)
        files = await anyio.to_thread.run_sync(_as_they_stand, folder, in_force)
        if seen.get("files") == files:
            return None
        seen["files"] = files
        try:
            now = await anyio.to_thread.run_sync(load_day, folder)
        except MistakesFound as found:
            told = tuple(str(m) for m in found.mistakes)
            if seen.get("mistakes") == repr(told):
                return None
            seen["mistakes"] = repr(told)
            return Edit(None, told)
        seen.pop("mistakes", None)
        if seen.setdefault("digests", repr(sorted(in_force.digests.items()))) == repr(sorted(now.digests.items())):
            return None
        seen["digests"] = repr(sorted(now.digests.items()))
        told = differences(in_force, without_personal(now))
        return Edit(now, told) if told else None

    return look


def _as_they_stand(folder: Path, plan: DayPlan) -> str:
    """Return the day's files by name, size and time of change; two that differ were not read alike."""
    aside = {folder / name for name in ("record", "instruments")}
    roots = [folder, folder / plan.day.image_store, *((folder / plan.day.playbooks,) if plan.day.playbooks else ())]
    found = []
    for root in roots:
        for at, folders, names in os.walk(root):
            folders[:] = [name for name in folders if Path(at, name) not in aside]
            found += [(path, _change(path)) for name in names if (path := os.path.join(at, name))]  # noqa: PTH118
    return repr(sorted(set(found)))


def _change(path: str) -> tuple[int, int, int]:
    try:
        status = os.stat(path)  # noqa: PTH116 - hundreds of them every two seconds
    except OSError:
        return (0, 0, 0)
    return (status.st_size, status.st_mtime_ns, status.st_ino)


class _Personal:
    """Personal data as the seam wants it: one text as a reference."""

    def __init__(self, personal: Personal) -> None:
        self._personal = personal

    async def keep(self, text: str) -> str:
        reference = await self._personal.keep(text)
        return f"{reference.id}:{reference.digest}"

    async def look_up(self, reference: str) -> str | None:
        return self._personal.look_up(reference.split(":", 1)[0])


class _Images:
    """The image store as a folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    async def read(self, image: Image) -> bytes:
        path = self._folder / image.file
        try:
            # A file that has grown since it was listed is not what was listed; no more of it is read than tells that.
            return await anyio.to_thread.run_sync(partial(plain_bytes, path, most=image.bytes + _MORE_THAN_LISTED))
        except OSError as error:
            raise InputError(f"{path} cannot be read: {error.strerror}") from error


class _Opener:
    """Opens the driver that a playbook names, where the cable or the simulated unit says."""

    def __init__(self, folder: Path, plan: DayPlan, record: Path) -> None:
        self._folder = folder
        self._certificates = KnownCertificates(RecordPlace(record).keys)
        self._through = {a.name: _told(a) for a in plan.bench.adapters}
        self._simulated = plan.day.instruments is Instruments.SIMULATED
        self._ports = {c.number: c.port for c in plan.bench.cables}
        self._addresses = {a.name: a.address for a in plan.bench.adapters}
        self._shop_packs = [(p.number, p.fits, p.charge_percent) for p in plan.bench.packs]

    def trust(self, unit: str, fingerprint: str) -> None:
        """Keep another fingerprint of the certificate of a unit's page."""
        self._certificates.replace(unit, fingerprint)

    async def __call__(self, playbook: Playbook, unit: str, place: str | None, ask: AskHand) -> ServedBy:
        async def put(question: HandQuestion) -> Mapping[str, object]:
            return await ask(Question(question.capability, question.text, question.wanted, question.figures))

        where = self._where(playbook, unit, place) if playbook.driver.name != "by-hand" else ""
        at = UnitPlace(
            where,
            dict(playbook.driver.settings),
            ask=put,
            playbook=playbook,
            unit=unit,
            through=self._through.get(place or "", {}),
            certificates=self._certificates,
            packs=self._packs(playbook),
        )
        try:
            driver = await make_driver(playbook.driver.name, at)
        except InputError as error:
            # The files were right when the day began: a plug-in was taken away or broken since. One unit waits for it.
            raise LinkError(f"the unit's driver cannot be used: {error}") from error
        return cast("ServedBy", completed(driver, ByHandDriver(put, in_hand(at))))

    def _packs(self, playbook: Playbook) -> Mapping[str, int]:
        return {number: charge for number, fits, charge in self._shop_packs if set(fits) & set(playbook.models)}

    def _where(self, playbook: Playbook, unit: str, place: str | None) -> str:
        if self._simulated:
            return str(self._folder / PORTS / unit)
        where = self._ports.get(place or "") or self._addresses.get(place or "")
        if not where and playbook.storage is not None and playbook.storage.label:
            return "storage:"
        if not where:
            raise LinkNotFound(f"bench.yaml names no port for {place or 'this unit'}; add port: or address: to it")
        return where


def _told(adapter: Adapter) -> Mapping[str, str]:
    """Return how a connection is bound to an adapter."""
    return {n: t for n, t in (("interface", adapter.interface), ("bind", adapter.bind)) if t is not None}
