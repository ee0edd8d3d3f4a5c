"""Kill a day at chosen points, go on with it each time, and have the oracle judge what is left.

A point is killed at in a first run; the runs after it go on with the same day, and may be killed as well.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import traceback
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.safety.kill_day import ONE_WRITE, TWO_WRITES, end_instruments, forked_run, moments_of, write_day
from tests.safety.oracle import judge
from tests.safety.points import Point

AT_ONCE = 4
"""Cases side by side: each waits for seconds, but works for less than one."""
RUNS_AT_MOST = 6
HALF_WAY = Point("write: half of sending", 1)
Serials = tuple[str, ...]
DAYS: tuple[Serials, ...] = ((TWO_WRITES,), (ONE_WRITE, TWO_WRITES))
"""A unit whose way leads through a stepping stone; and that one beside another of its model."""

_ABOUT_ACTS = ("write: ", "restart: ", "spend", "permit_given", "act_ended", "(write)", "file kept", "preserved")


@dataclass(frozen=True, slots=True)
class Case:
    """Points at which the first run, the second ... are killed."""

    serials: Serials
    kills: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a case."""

    case: str
    runs: tuple[str, ...]
    """How each run ended."""
    faults: tuple[str, ...]


class Ground:
    """The days to kill, laid out once, and every point there is in them."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.points: dict[Serials, list[Point]] = {}
        self.recovery: list[Point] = []
        """The points of a run that takes up a unit which was cut half way, as far as its next write."""
        for serials in DAYS:
            write_day(self.day(serials), serials)
            self.points[serials] = self._passed(serials, ())
        self.recovery = self._recovery()

    def day(self, serials: Serials) -> Path:
        """The folder of a day that has not begun."""
        return self._folder / f"day-of-{len(serials)}"

    def _recovery(self) -> list[Point]:
        points = self._passed(DAYS[0], (HALF_WAY,))
        known = self.points[DAYS[0]].index(HALF_WAY)
        return [p for p in points if p not in self.points[DAYS[0]][:known]]

    def _passed(self, serials: Serials, kills: tuple[Point, ...]) -> list[Point]:
        folder = self._folder / f"passing-{len(serials)}-{len(kills)}"
        result = run_case(Case(serials, kills), self.day(serials), folder, keep=True)
        if result.faults:
            raise AssertionError(f"the day itself is not without fault: {result}")
        return moments_of(folder)

    def every_case(self) -> list[Case]:
        """Return a case for each point of each day, for every second one with a second kill, and all of recovery."""
        draw = random.Random(1)
        cases = [
            Case(serials, (p, draw.choice(points)) if number % 2 else (p,))
            for serials, points in self.points.items()
            for number, p in enumerate(points)
        ]
        return cases + [Case(DAYS[0], (HALF_WAY, p)) for p in self.recovery]

    def chosen_cases(self, seed: int, others: int) -> list[Case]:
        """Return the cases about acts and copies, and some others, drawn."""
        draw = random.Random(seed)
        points = self.points[DAYS[0]]
        about_acts = [p for p in points if about_acts_or_copies(p)]
        rest = draw.sample([p for p in points if p not in about_acts], others)
        beside = draw.sample([p for p in self.points[DAYS[1]] if about_acts_or_copies(p)], others // 2)
        cases = [Case(DAYS[0], (p, draw.choice(about_acts)) if n % 4 == 0 else (p,)) for n, p in enumerate(about_acts)]
        cases += [Case(DAYS[0], (p,)) for p in rest]
        cases += [Case(DAYS[1], (p,)) for p in beside]
        return cases + [Case(DAYS[0], (HALF_WAY, p)) for p in draw.sample(self.recovery, others)]


def about_acts_or_copies(point: Point) -> bool:
    """Tell whether a point lies beside an act, a write, a restart or a copy."""
    return any(word in point.moment for word in _ABOUT_ACTS)


def run_case(case: Case, template: Path, folder: Path, *, keep: bool = False) -> Result:
    """Run one case in a copy of a day; what is left of it stays if there are faults."""
    shutil.copytree(template, folder)
    runs: list[str] = []
    faults: list[str] = []
    waiting = list(case.kills)
    try:
        while (not runs or runs[-1] == "killed") and len(runs) < RUNS_AT_MOST:
            runs.append(forked_run(folder, waiting.pop(0) if waiting else None))
            faults += judge(folder, finished=runs[-1] == "finished")
    finally:
        end_instruments(folder)
    if runs[-1] != "finished":
        faults.append(f"the last run ended as {runs[-1]}")
    if not faults and not keep:
        # A simulator that was told to end may still be writing its last state.
        shutil.rmtree(folder, ignore_errors=True)
    return Result(" then ".join(map(str, case.kills)) or "no kill", tuple(runs), tuple(dict.fromkeys(faults)))


def run_cases(cases: Sequence[Case], ground: Ground, folder: Path) -> list[Result]:
    """Run the cases, a few at once, each in a process forked from this one."""
    results: dict[int, Result] = {}
    running: dict[int, int] = {}
    waiting = list(enumerate(cases))
    while waiting or running:
        while waiting and len(running) < AT_ONCE:
            number, case = waiting.pop(0)
            running[_forked_case(case, ground.day(case.serials), folder / f"case-{number}")] = number
        pid, _ = os.wait()
        if pid in running:
            number = running.pop(pid)
            results[number] = _read(folder / f"case-{number}.json", cases[number])
    return [results[number] for number in range(len(cases))]


def _forked_case(case: Case, template: Path, folder: Path) -> int:
    child = os.fork()
    if child:
        return child
    try:
        result = run_case(case, template, folder)
    except BaseException:  # noqa: BLE001 - told as a fault, whatever it is
        result = Result(str(case.kills), (), (traceback.format_exc(),))
    folder.with_suffix(".json").write_text(json.dumps(asdict(result)), encoding="utf-8")
    os._exit(0)


def _read(path: Path, case: Case) -> Result:
    if not path.exists():
        return Result(str(case.kills), (), ("the case itself went wrong",))
    told = json.loads(path.read_text(encoding="utf-8"))
    return Result(told["case"], tuple(told["runs"]), tuple(told["faults"]))
