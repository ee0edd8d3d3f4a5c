"""How fast the forecast's loops are beside SimPy, in the same run, and what a forecast while the day runs costs.

    python -m tests.speed.forecast

The day is the usual unit's: scarce cables, two technicians for six stations, and ten times that for a thousand units.
The yardstick is what one would write with SimPy: a process for each unit, a priority resource for each
pool; it knows neither the phases of an instant nor breaks or closing, so the days compared have none. The tests' exact
twin, which knows them, is shown too. Rounds take turns, and the best of each is compared, in processor time.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable, Generator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import anyio
import simpy

from benchday.bench.apart import in_processes
from benchday.bench.halves import outlook_apart
from benchday.planning.forecast import compiled_days, compiled_draws, draws, engines, loop
from benchday.planning.forecast.modelling import Compiled
from benchday.planning.forecast.prepared import Prepared, prepare
from benchday.planning.model import Durations, Model, ModelUnit
from tests.planning.forecast.usual import usual_day
from tests.planning.simpy_twin import Twin

ROUNDS = 3
GOALS = {"plain": 6.0, "compiled": 100.0, "compiled, drawn": 70.0}
"""Times as fast as SimPy, at a hundred units."""
SECONDS = {"loop": 1.0, "compiled": 0.1}
"""For a thousand days of a hundred units, drawn, while a day runs."""
MEGABYTES = 200


def with_simpy(model: Model, durations: Durations) -> dict[str, float]:
    """Run one day as one would write it with SimPy; return when each unit is finished."""
    env = simpy.Environment()
    pools = {pool.name: simpy.PriorityResource(env, pool.count) for pool in model.pools}
    gates = {s.opens: env.event() for u in model.units for s in u.stages if s.opens is not None}
    finish: dict[str, float] = {}

    def way(unit: ModelUnit, row: Sequence[float]) -> Generator[simpy.Event, Any, None]:
        held: dict[str, Any] = {}
        yield env.timeout(unit.arrival)
        for stage, minutes in zip(unit.stages, row, strict=True):
            if stage.waits_for is not None:
                yield gates[stage.waits_for]
            for name in stage.takes:
                held[name] = pools[name].request(int(unit.priority))
                yield held[name]
            yield env.timeout(minutes)
            for name in stage.frees:
                pools[name].release(held.pop(name))
            if stage.opens is not None:
                gates[stage.opens].succeed()
        finish[unit.id] = env.now

    for unit, row in zip(model.units, durations, strict=True):
        env.process(way(unit, row))
    env.run()
    return finish


def best(jobs: dict[str, tuple[int, Callable[[], object]]]) -> dict[str, float]:
    """Return the processor time of each job for one day, the best of all rounds; each job runs so many days."""
    seconds = dict.fromkeys(jobs, float("inf"))
    for _ in range(ROUNDS):
        for name, (count, job) in jobs.items():
            began = time.process_time()
            job()
            seconds[name] = min(seconds[name], (time.process_time() - began) / max(count, 1))
    return seconds


def compare(units: int, count: int) -> dict[str, float]:
    """Return seconds for one day by each way."""
    model = usual_day(units)
    model = replace(model, pools=tuple(replace(pool, breaks=()) for pool in model.pools))
    prepared, plan = prepare(model), draws.plan(model)
    blocks = list(compiled_draws.Drawing(plan, 1).blocks(count))
    rows = [row for block in blocks for row in block.tolist()]
    few, some = rows[: max(2, 300 // units)], max(32, 25_600 // units)
    by_unit = [_by_unit(prepared, row) for row in few]
    fewer = by_unit[: max(1, 100 // units)] if units <= 100 else []
    return best(
        {
            "simpy": (len(few), lambda: [with_simpy(model, row) for row in by_unit]),
            "exact twin": (len(fewer), lambda: [Twin(model, row).run() for row in fewer]),
            "plain": (len(few) * 3, lambda: [loop.day_times(prepared, row) for row in few * 3]),
            "plain, drawn": (some, lambda: engines.replicate(prepared, replications=some, engine="loop")),
            "compiled": (count, lambda: compiled_days.run(prepared, blocks)),
            "compiled, drawn": (count, lambda: engines.replicate(prepared, replications=count, engine="compiled")),
        }
    )


def _by_unit(prepared: Prepared, row: Sequence[float]) -> list[list[float]]:
    return [list(row[first:past]) for first, past in pairwise(prepared.stage_first)]


async def live(engine: str) -> float:
    """Return the wall-clock seconds of a thousand days of a hundred units as the running day asks for them.

    They are drawn in the processes that the day keeps for its sums, the best of some rounds; the first one, in which
    they start and load what they need, is left out.
    """
    compiled = Compiled(replace(usual_day(100, close=600.0), replications=1000), 0, {})
    seconds = float("inf")
    async with in_processes() as apart:
        await outlook_apart(apart, compiled, 0, engine)
        for seed in range(1, 2 * ROUNDS):
            began = time.perf_counter()
            await outlook_apart(apart, compiled, seed, engine)
            seconds = min(seconds, time.perf_counter() - began)
    return seconds


def alone(engine: str) -> float:
    """Return the processor seconds of the same in one process, the best of some rounds."""
    model = usual_day(100, close=600.0)
    seconds = float("inf")
    for _ in range(ROUNDS + 1):
        began = time.process_time()
        engines.replicate(model, replications=1000, engine=engine)
        seconds = min(seconds, time.process_time() - began)
    return seconds


MEMORY = """
import json, sys
from pathlib import Path
from benchday.planning.forecast import engines
from tests.planning.forecast.usual import usual_day
engines.replicate(usual_day(5), replications=5, engine=sys.argv[1])
def peak():
    # Not ru_maxrss, which a program takes over from the one that started it.
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024
before = peak()
outcomes = engines.replicate(usual_day(1000), replications=int(sys.argv[2]), engine=sys.argv[1])
print(json.dumps([before, peak()]))
"""


def memory(engine: str, replications: int) -> tuple[float, float]:
    """Return the peak of a program's memory before and after a forecast of a thousand units, MB; on Linux."""
    command = [sys.executable, "-c", MEMORY, engine, str(replications)]
    before, after = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    return before, after


def main() -> int:
    """Print the figures; return 1 if a goal is missed."""
    missed = 0
    print(f"the compiled loop was ready after {engines.warm():.1f} s (compiled once for a program version, then kept)")
    for units, count in ((10, 10_000), (100, 4_000), (1000, 200)):
        seconds = compare(units, count)
        missed += _told(units, seconds)
    for engine, goal in SECONDS.items():
        found = anyio.run(live, engine)
        missed += found > goal
        print(f"1,000 days of 100 units while a day runs, {engine}: {found:.3f} s by the clock (goal {goal:g} s)")
        print(f"  in one process {alone(engine):.3f} s of processor time")
    for engine, count in (("compiled", 1000), ("loop", 300)):
        before, after = memory(engine, count)
        missed += after - before > MEGABYTES
        print(
            f"{count:,} days of 1,000 units, {engine}: {before:.0f} MB, then at most {after:.0f} MB (goal +{MEGABYTES})"
        )
    return 1 if missed else 0


def _told(units: int, seconds: dict[str, float]) -> int:
    """Print how many times as fast as SimPy each way is; return how many goals were missed."""
    simpy_seconds = seconds.pop("simpy")
    print(f"{units} units, SimPy {simpy_seconds * 1e3:.2f} ms a day; times as fast:")
    missed = 0
    for name, taken in seconds.items():
        if taken < 1e-5 and name == "exact twin":
            continue  # left out at this size
        goal = GOALS.get(name) if units == 100 else None
        missed += goal is not None and simpy_seconds / taken < goal
        aside = f" (goal {goal:g})" if goal else ""
        print(f"  {name}: {simpy_seconds / taken:.1f}, {taken * 1e6:.0f} us a day{aside}")
    return missed


if __name__ == "__main__":
    sys.exit(main())
