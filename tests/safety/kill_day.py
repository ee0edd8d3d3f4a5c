"""A real day of few units on real simulator processes, run by a program that can be killed at any point.

Each run is a process forked from one that has everything imported already.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import anyio

from benchday import wiring
from benchday.bench.day import BenchDay
from benchday.demo.instruments import Bench, prepare, start, stop
from benchday.demo.people import DemoPeople
from benchday.demo.run import hands_on
from benchday.domain.scenario import LineLift, Scenario, ScenarioUnit
from benchday.inputs.day import load_day
from benchday.inputs.sample import SCENARIO, read_scenario, scenario_text, shipped_scenario, write_sample
from benchday.inputs.sample_text import roster_text
from benchday.record.journal import open_journal
from benchday.wiring import RunOptions, opened
from benchday_simulators.images import build_image
from tests.safety.points import CountedArchive, CountedJournal, Point, Points, counted_hands, counted_opener

SPEED = 5000
PAYLOAD_BYTES = 20_000
"""Small images: many blocks are no other moments than a few."""
TWO_WRITES, ONE_WRITE = "007421529960", "007421530018"
OPERATOR = "Ines Halloran"

_DAY = """\
day: A day that is killed
hours:
  - {date: "2026-06-16", opens: "00:00", closes: "23:59"}
time_zone: Europe/London
instruments: simulated
policy: {first_off: true, permit_minutes: 10}
image_store: images
playbooks: shipped
record: record
"""
_BENCH = """\
bench: kill-1
name: A bench that is killed
stations: [{name: S1}, {name: S2}]
cables: [{connector: round, number: R1}, {connector: round, number: R2}]
operators:
  - name: Ines Halloran
    may: [check in, preserve, confirm, last look]
"""


def write_day(folder: Path, serials: tuple[str, ...] = (TWO_WRITES,)) -> None:
    """Write the day of these units of the shipped scenario, with small recordings and images."""
    write_sample(folder, 1, build_image=_small_image, units=1)
    units = tuple(_small(u) for serial in serials for u in shipped_scenario().units if u.serial == serial)
    lifts = tuple(LineLift(unit=u.serial, by=OPERATOR, after_minutes=0, reason="looked into") for u in units)
    scenario = Scenario(scenario="killed", seed=1, units=units, lifts=lifts)
    for name, text in (
        (SCENARIO, scenario_text(scenario)),
        ("roster.csv", roster_text(units)),
        ("day.yaml", _DAY),
        ("bench.yaml", _BENCH),
    ):
        (folder / name).write_text(text, encoding="utf-8")
    prepare(bench_of(folder), scenario)
    for unit in units:
        _plug_in(bench_of(folder).of(unit.serial) / "state.json")


def _plug_in(state: Path) -> None:
    """Run a unit from external power: at this speed a busy computer would find its battery flat."""
    told = json.loads(state.read_text(encoding="utf-8"))
    state.write_text(json.dumps({**told, "external_power": True}), encoding="utf-8")


def _small(unit: ScenarioUnit) -> ScenarioUnit:
    starts = unit.starts.model_copy(update={"recordings": (3000, 2000)})
    return unit.model_copy(update={"starts": starts, "arrives": "00:00", "promised": None, "crew": ""})


def _small_image(**how: object) -> bytes:
    return build_image(**{**how, "payload_bytes": PAYLOAD_BYTES})  # type: ignore[arg-type]  # handed on as they came


def bench_of(folder: Path) -> Bench:
    """Return the simulated bench of a day."""
    return Bench(folder, folder / "record", SPEED * 1000, None)


async def run(folder: Path, points: Points) -> str:
    """Run the day, or go on with it; return why it ended."""
    await start(bench_of(folder), read_scenario(folder))
    _count_journals(points)
    return await serve(folder, points)


async def serve(folder: Path, points: Points, by: str = "simulated") -> str:
    """Serve instruments that have been started already; return why it ended.

    Args:
        folder: the day's.
        points: pass as the day goes on.
        by: what the demo's people pass for when they answer.
    """
    plan, scenario, bench = load_day(folder), read_scenario(folder), bench_of(folder)
    hands = hands_on(bench, plan)
    people = As(by, DemoPeople(bench, scenario, 1, hands))
    options = RunOptions(SPEED * 1000, 1, hands=counted_hands(hands, points), watch=False)
    async with opened(folder, plan, options) as (tools, _):
        tools.open_driver = counted_opener(tools.open_driver, points)
        tools.archive = CountedArchive(tools.archive, points)
        return await BenchDay(tools).run(people)


class As:
    """People whose answers come from somewhere else."""

    def __init__(self, by: str, people: DemoPeople) -> None:
        self._by, self._people = by, people

    async def serve(self, desk: Any) -> None:
        """Serve."""
        await self._people.serve(_Passing(self._by, desk))


class _Passing:
    def __init__(self, by: str, desk: Any) -> None:
        self._by, self._desk = by, desk

    def __getattr__(self, name: str) -> Any:
        return getattr(self._desk, name)

    async def answer(self, item: str, value: Mapping[str, Any], operator: str, _: str) -> None:
        await self._desk.answer(item, value, operator, self._by)


def _count_journals(points: Points) -> None:
    def counted(*where: Any, **how: Any) -> CountedJournal:
        return CountedJournal(open_journal(*where, **how), points)

    # This process does nothing else and ends with the run.
    vars(wiring)["open_journal"] = counted


def end_instruments(folder: Path) -> None:
    """End the simulators of a day."""
    stop(bench_of(folder), [u.serial for u in read_scenario(folder).units])


def forked_run(folder: Path, kill_at: Point | None) -> str:
    """Run the day in a process of its own; return why it ended: killed, finished, or what went wrong."""
    ran = folder / "ran.txt"
    ran.unlink(missing_ok=True)
    child = os.fork()
    if child == 0:
        _in_child(folder, kill_at, ran)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return "killed"
    return ran.read_text(encoding="utf-8") if ran.exists() else f"ended with status {status}"


def _in_child(folder: Path, kill_at: Point | None, ran: Path) -> None:
    try:
        with (folder / "program.err").open("a", encoding="utf-8") as errors:
            os.dup2(errors.fileno(), sys.stderr.fileno())
        ran.write_text(anyio.run(run, folder, Points(folder, kill_at)), encoding="utf-8")
    except BaseException:  # noqa: BLE001 - told to the parent, whatever it is
        ran.write_text(traceback.format_exc(), encoding="utf-8")
    finally:
        os._exit(0)


def moments_of(folder: Path) -> list[Point]:
    """Return the points that the runs of a day have passed, in order, without those passed again."""
    lines = (folder / "passed.txt").read_text(encoding="utf-8").splitlines()
    return list(dict.fromkeys(Point(*json.loads(line)) for line in lines))
