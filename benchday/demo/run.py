"""The demo: a whole service day, unattended, at high simulated speed, against real processes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import anyio
import anyio.to_thread

from benchday.at_hand.drivers import installed_drivers
from benchday.bench.foreseeing import SPARING
from benchday.demo.hands import SimulatedHands
from benchday.demo.instruments import INSTRUMENTS, Bench, start, stop
from benchday.demo.people import DemoPeople
from benchday.demo.report import DemoReport
from benchday.demo.troubles import checked, laid_out, named
from benchday.domain.errors import InputError
from benchday.domain.fold import DayState, fold
from benchday.domain.kinds import DayClosed
from benchday.domain.plan import DayPlan
from benchday.domain.scenario import Scenario
from benchday.domain.seams import Desk, Operators
from benchday.inputs.day import load_day
from benchday.inputs.playbook_files import SHIPPED, read_playbooks
from benchday.inputs.sample import SCENARIO, read_scenario, scenario_of, write_sample
from benchday.record.place import record_folder
from benchday.record.reading import is_begun, open_reader
from benchday.record.verifying import refuse_damaged
from benchday.wiring import Ended, RunOptions, opened, run_day


@dataclass(frozen=True, slots=True)
class DemoOptions:
    """How the demo is run."""

    units: int | None = None
    """None: all that are shipped and can be served here."""
    seed: int = 1
    speed_milli: int = 600_000
    trouble: Path | None = None
    """A file with more trouble for the instruments, or the name of a shipped one."""


async def run_demo(folder: Path, options: DemoOptions, beside: Operators | None = None) -> DemoReport:
    """Run the demo day in a folder; cut short, it goes on when called again, and finished it changes nothing.

    Args:
        folder: made and filled if it holds no day.
        options: how it is run; of a day that is there already only the speed is taken.
        beside: a face that watches while the demo's people work.

    Raises:
        BenchdayError
    """
    scenario = await anyio.to_thread.run_sync(_scenario, folder, options)
    plan = await anyio.to_thread.run_sync(load_day, folder)
    record = record_folder(folder, plan.day.record, None)
    state = read_state(record, plan)
    if state is None or state.closed is None:
        trouble = laid_out(folder / INSTRUMENTS, scenario, options.trouble)
        bench = Bench(folder, record, options.speed_milli, trouble)
        await start(bench, scenario)
        hands = hands_on(bench, plan)
        people = DemoPeople(bench, scenario, options.seed, hands)
        running = RunOptions(options.speed_milli, options.seed, hands=hands, pace=SPARING)
        ended = await run_day(folder, running, _Both(people, beside) if beside else people)
        state = ended.state
        if ended.why == "finished":
            state = await _close(folder, plan, bench, options)
            stop(bench, [u.serial for u in scenario.units])
    return DemoReport(folder, record, plan, state)


def hands_on(bench: Bench, plan: DayPlan) -> SimulatedHands:
    """Return the hands that work a bench's instruments."""
    store = bench.folder / plan.day.image_store
    images = {image.sha256: store / image.file for image in plan.images.images}
    packs = {pack.number: pack.charge_percent for pack in plan.bench.packs}
    return SimulatedHands(bench, images, packs)


async def run_simulated(folder: Path, options: RunOptions, operators: Operators) -> Ended:
    """Run a day of simulated instruments with people at a face; the instruments are started or found."""
    plan = await anyio.to_thread.run_sync(load_day, folder)
    scenario = await anyio.to_thread.run_sync(read_scenario, folder)
    record = record_folder(folder, plan.day.record, options.record)
    bench = Bench(folder, record, options.speed_milli, laid_out(folder / INSTRUMENTS, scenario, None))
    await start(bench, scenario)
    try:
        return await run_day(folder, replace(options, hands=hands_on(bench, plan)), operators)
    except InputError:
        # The day was refused before it began: nobody needs its instruments.
        stop(bench, [u.serial for u in scenario.units])
        raise


def read_state(record: Path, plan: DayPlan) -> DayState | None:
    """Return the state of this day in a record, None if it has not begun there."""
    refuse_damaged(record)
    if not is_begun(record):
        return None
    with open_reader(record) as reader:
        state = fold(reader.read(plan.bench.bench))
    this = (plan.day.day, plan.hours.date)
    told = state.begun
    return state if told is not None and (told["day"], told["date"]) == this else None


def _scenario(folder: Path, options: DemoOptions) -> Scenario:
    from benchday_simulators.images import build_image  # noqa: PLC0415 - only the demo needs it

    there = (folder / "day.yaml").exists() and (folder / SCENARIO).exists()
    without: frozenset[str] = frozenset() if there else not_served()
    scenario = read_scenario(folder) if there else scenario_of(options.units, options.seed, without)
    if options.trouble is not None:
        # Before anything is written or started.
        checked(named(options.trouble), {unit.serial: unit.model for unit in scenario.units})
    if there:
        return scenario
    return write_sample(folder, options.seed, build_image=build_image, units=options.units, without=without)


def not_served() -> frozenset[str]:
    """Return the models whose driver wants something that is not installed here."""
    broken = {driver.name for driver in installed_drivers() if driver.problem}
    books = (book for book, _ in read_playbooks(SHIPPED, Path()).read)
    return frozenset(model for book in books if book.driver.name in broken for model in book.models)


@dataclass(frozen=True, slots=True)
class _Both:
    """Two faces at once: people who work, and one that watches."""

    people: Operators
    beside: Operators

    async def serve(self, desk: Desk) -> None:
        """Serve both until cancelled."""
        async with anyio.create_task_group() as faces:
            faces.start_soon(self.people.serve, desk)
            faces.start_soon(self.beside.serve, desk)


async def _close(folder: Path, plan: DayPlan, bench: Bench, options: DemoOptions) -> DayState:
    """Close the day as its technician would."""
    async with opened(folder, plan, RunOptions(bench.speed_milli, options.seed)) as (tools, _):
        state = tools.book.state
        stay = [s.serial for s in state.units.values() if s.outcome in ("held", "not-begun") and not s.taken]
        facts = DayClosed(
            overnight=[{"serial": serial, "where": "hold shelf"} for serial in stay],
            packs_off_chargers=True,
            cables_counted=[{"number": c.number, "present": True} for c in plan.bench.cables],
            words="",
        )
        await tools.book.append(facts.draft(operator=plan.bench.operators[0].name))
        return tools.book.state
