"""A long day, to see what grows: ``python -m tests.faults.long_day [--units N] [--hours N] [--stations N] [--seed N]``.

Time jumps whenever everybody waits, so a day takes minutes. Each hour is weighed: objects, resident memory, and with
``--trace`` what Python has allocated; at the end nothing of tasks, threads and open files may be left.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import resource
import sys
import tempfile
import threading
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import anyio

from benchday.bench.day import BenchDay
from benchday.domain.steps import State
from benchday.testing.clock import ManualClock
from tests.faults.long_shop import LongShop, long_plan

HOUR_US = 3_600_000_000
PAGE = resource.getpagesize()


@dataclass(frozen=True, slots=True)
class Weight:
    """What the program weighs at the end of an hour of the day."""

    hour: int
    entries: int
    handed_back: int
    objects: int
    traced_bytes: int
    resident_bytes: int
    tasks: int
    files: int
    real_s: float
    processor_s: float


@dataclass(slots=True)
class Course:
    """How a day went."""

    weights: list[Weight] = field(default_factory=list)
    why: str = ""
    outcomes: dict[str, int] = field(default_factory=dict)
    acts: int = 0
    left: dict[str, int] = field(default_factory=dict)
    """What is there after the day that was not there before: tasks, threads, files."""


def weigh(hour: int, entries: int, handed_back: int, began_s: float) -> Weight:
    """Weigh the program now."""
    gc.collect()
    traced = tracemalloc.get_traced_memory()[0] if tracemalloc.is_tracing() else 0
    resident = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * PAGE
    return Weight(
        hour, entries, handed_back, len(gc.get_objects()), traced, resident, len(asyncio.all_tasks()), open_files(),
        time.monotonic() - began_s, time.process_time(),
    )  # fmt: skip


def threads() -> int:
    """Count the threads that do not just wait for the next piece of work, to end by themselves if none comes."""
    return sum(not t.name.startswith("AnyIO worker") for t in threading.enumerate())


def open_files() -> int:
    """Count the descriptors that are open."""
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


@dataclass(frozen=True, slots=True)
class Size:
    """How large a day is run."""

    units: int = 300
    hours: int = 24
    stations: int = 20
    seed: int = 1


async def long_day(folder: Path, size: Size, tell: Callable[[Weight], None]) -> Course:
    """Run a long day; return how it went."""
    plan = long_plan(folder, size.units, size.stations, size.hours, size.seed)
    files = {p.name: p.read_bytes() for p in (folder / "images").glob("*.fen")}
    clock = ManualClock(plan.at_us(plan.hours.opens))
    shop = LongShop(folder, plan, clock, files, size.seed)
    course, began_s = Course(), time.monotonic()
    before = {"threads": threads(), "files": open_files(), "tasks": len(asyncio.all_tasks())}
    async with shop.opened() as tools:
        day = BenchDay(tools)

        async def hourly() -> None:
            for hour in range(1, size.hours + 1):
                await clock.wait_until(plan.at_us(plan.hours.opens) + hour * HOUR_US)
                done = sum(s.state is State.HANDED_BACK for s in tools.book.state.units.values())
                course.weights.append(weigh(hour, tools.book.state.seq, done, began_s))
                tell(course.weights[-1])

        async with anyio.create_task_group() as tasks:
            tasks.start_soon(hourly)
            tasks.start_soon(shop.let_time_pass)
            course.why = await day.run(shop.people)
            tasks.cancel_scope.cancel()
        for story in tools.book.state.units.values():
            course.outcomes[story.outcome] = course.outcomes.get(story.outcome, 0) + 1
    course.acts = shop.people.acts
    course.left = {
        "threads": threads() - before["threads"],
        "files": open_files() - before["files"],
        "tasks": len(asyncio.all_tasks()) - before["tasks"],
    }
    return course


def told(weight: Weight) -> None:
    """Print what an hour weighs."""
    sys.stdout.write(
        f"hour {weight.hour:>2}: {weight.entries:>6} entries, {weight.handed_back:>4} handed back, "
        f"{weight.objects:>8} objects, {weight.traced_bytes / 1e6:>6.1f} MB traced, "
        f"{weight.resident_bytes / 1e6:>6.1f} MB resident, {weight.tasks:>4} tasks, {weight.files:>3} files, "
        f"{weight.real_s:>6.1f} s, {weight.processor_s:>6.1f} s of a processor\n"
    )
    sys.stdout.flush()


def main() -> None:
    """Run it by hand."""
    arguments = argparse.ArgumentParser(description=__doc__)
    for name, usual in (("units", 300), ("hours", 24), ("stations", 20), ("seed", 1)):
        arguments.add_argument(f"--{name}", type=int, default=usual)
    arguments.add_argument("--trace", action="store_true")
    asked = arguments.parse_args()
    if asked.trace:
        tracemalloc.start()
    with tempfile.TemporaryDirectory() as folder:
        size = Size(asked.units, asked.hours, asked.stations, asked.seed)
        course = anyio.run(long_day, Path(folder) / "day", size, told)
    sys.stdout.write(f"{course.why}; {course.outcomes}; {course.acts} acts of operators; left behind: {course.left}\n")


if __name__ == "__main__":
    main()
