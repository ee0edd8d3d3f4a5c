"""Disturb thousands of small days and judge each: ``python -m tests.faults.campaign FOLDER --seed N --count K``.

Each case follows from seed, kind and number alone, as far as processes can. Results are lines of JSON in
``results.jsonl``; called again with the same words it goes on where it was stopped. Days that gave an alarm are kept.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import shutil
import sys
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random

from benchday import wiring
from tests.faults import cases, matrix, whole
from tests.faults.cases import SLOWER, Case, Result
from tests.faults.days import OF_MODEL, ONE_WRITE, SPEED, TWO_WRITES, Ground
from tests.faults.forked import preload

RESULTS = "results.jsonl"
KILLS: dict[str, tuple[Callable[[Case, Random, int], None], int, bool]] = {
    "clean": (cases.clean, SPEED, True),
    "points": (cases.at_points, SPEED, True),
    "instants": (cases.at_instants, SPEED, True),
    "recovery": (cases.in_recovery, SPEED, True),
    "instruments": (cases.of_instruments, SLOWER, False),
    "both": (cases.of_both, SLOWER, False),
    "whole": (whole.of_whole_processes, SPEED, False),
}
"""Kind -> how a day is disturbed, its speed, and whether every unit is to be handed back all the same."""
TROUBLE = ("matrix", "storm")
KINDS = (*KILLS, *TROUBLE)
SHORT = {"clean": 2, "points": 3, "instants": 2, "recovery": 3, "instruments": 2, "both": 2, "whole": 1} | {
    "matrix": 8,
    "storm": 2,
}
"""Kind -> cases in the short form, which the test suite runs."""


@dataclass(frozen=True, slots=True)
class Order:
    """One case that is to be run."""

    seed: int
    kind: str
    number: int

    @property
    def name(self) -> str:
        """What it is called, in the results as on the disk."""
        return f"{self.kind}-{self.seed}-{self.number}"

    def draw(self) -> Random:
        """Return what the case is drawn from."""
        return Random(self.name)


class Grounds:
    """The days that cases are copied from, each laid out when it is first wanted, and kept for the next call."""

    def __init__(self, folder: Path) -> None:
        """Lay them out below a folder of this program's very files: others may lay them out otherwise."""
        self._folder = folder / wiring.own_digest()[:16]
        self._laid_out: dict[tuple[str, ...], Ground] = {}

    def of(self, *serials: str) -> Ground:
        """Return the day of these units."""
        if serials not in self._laid_out:
            self._laid_out[serials] = self._kept("+".join(serials), serials)
        return self._laid_out[serials]

    def _kept(self, name: str, serials: tuple[str, ...]) -> Ground:
        kept = self._folder / f"{name}.kept"
        if not kept.exists():
            shutil.rmtree(self._folder / name, ignore_errors=True)
            ground = Ground.laid_out(self._folder / name, serials)
            kept.write_bytes(pickle.dumps((ground.plan, ground.scenario)))
        # Our own file, written by the line above.
        return Ground(self._folder / name, *pickle.loads(kept.read_bytes()))  # noqa: S301

    def for_case(self, order: Order) -> Ground:
        """Return the day of a case: one unit, one with two writes, or two side by side."""
        draw = Random(f"day of {order.name}")
        if order.kind == "matrix":
            first = OF_MODEL[cell_of(order).model]
            return self.of(first) if draw.random() < 0.7 else self.of(first, _beside(first))
        if order.kind == "storm" or draw.random() < 0.3:
            first = draw.choice(list(OF_MODEL.values()))
            return self.of(first, _beside(first))
        if draw.random() < 0.3:
            return self.of(*draw.choice(((TWO_WRITES,), (ONE_WRITE, TWO_WRITES))))
        return self.of(draw.choice(list(OF_MODEL.values())))


def _beside(first: str) -> str:
    """Return the unit that stands beside another: few pairs, since each is laid out."""
    serials = list(OF_MODEL.values())
    return serials[(serials.index(first) + 3) % len(serials)]


def cell_of(order: Order) -> matrix.Cell:
    """Return the cell of a case: all in turn, in an order that the seed draws."""
    cells = _shuffled(order.seed)
    return cells[order.number % len(cells)]


@cache
def _shuffled(seed: int) -> tuple[matrix.Cell, ...]:
    cells = list(matrix.cells())
    Random(seed).shuffle(cells)
    return tuple(cells)


def run_case(order: Order, ground: Ground, folder: Path) -> Result:
    """Run one case to its end; its folder stays if it gave an alarm."""
    result = Result(order.name, order.kind)
    cases.timed(lambda: _run_case(order, ground, folder, result), result)
    if not result.alarms:
        # An instrument that was told to end may still be writing its last state.
        shutil.rmtree(folder, ignore_errors=True)
    return result


def _run_case(order: Order, ground: Ground, folder: Path, result: Result) -> None:
    disturb, speed, all_handed_back = KILLS.get(order.kind, (None, SLOWER, False))
    case, draw = Case(ground, folder, result, speed), order.draw()
    try:
        if disturb is not None:
            disturb(case, draw, order.number)
        elif order.kind == "matrix":
            matrix.one_cell(case, cell_of(order), draw)
        else:
            of = {serial: model for model, serial in OF_MODEL.items()}
            matrix.storm(case, draw, [of[serial] for serial in ground.serials])
        case.to_its_end()
    except cases.Hangs as hangs:
        result.alarms.append(f"HANG: {hangs}")
    finally:
        case.close(all_handed_back=all_handed_back)
        whole.end_instruments(case)


def run_all(orders: list[Order], folder: Path, at_once: int) -> Iterator[Result]:
    """Run cases side by side, each in a process forked from this one; yields results as they come."""
    grounds, running = Grounds(folder / "days"), dict[int, Order]()
    waiting = list(reversed(orders))
    while waiting or running:
        while waiting and len(running) < at_once:
            order = waiting.pop()
            running[_forked(order, grounds.for_case(order), _own(order, folder))] = order
        pid, _ = os.wait()
        if pid in running:
            order = running.pop(pid)
            yield _result(order, _own(order, folder))


def _own(order: Order, folder: Path) -> Path:
    """Return a case's folder, of this call alone: instruments of a call that was killed may still write to theirs."""
    return folder / f"{order.name}-{os.getpid()}"


def _forked(order: Order, ground: Ground, folder: Path) -> int:
    child = os.fork()
    if child:
        return child
    try:
        result = run_case(order, ground, folder)
    except BaseException:  # noqa: BLE001 - told as an alarm, whatever it is
        result = Result(order.name, order.kind, alarms=[traceback.format_exc()])
    folder.with_suffix(".json").write_text(json.dumps(result.as_facts()), encoding="utf-8")
    os._exit(0)


def _result(order: Order, folder: Path) -> Result:
    path = folder.with_suffix(".json")
    if not path.exists():
        return Result(order.name, order.kind, alarms=["the case itself went wrong"])
    result = Result(**json.loads(path.read_text(encoding="utf-8")))
    path.unlink()
    return result


def _read(path: Path) -> dict[str, Result]:
    """Read the results so far; half a line that the end of an earlier call left is taken away."""
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    whole = text[: text.rfind("\n") + 1]
    path.write_text(whole, encoding="utf-8")
    return {told["case"]: Result(**told) for told in map(json.loads, whole.splitlines())}


def counted(results: list[Result]) -> dict[str, object]:
    """Count what was done and what it showed."""
    outcomes = Counter(o.split(":", 1)[0] for r in results for o in r.outcomes.values())
    moments = Counter(w.split(" (", 1)[0] for r in results for w in r.where)
    return {
        "cases": len(results),
        "program_kills": sum(r.program_kills for r in results),
        "instrument_kills": sum(r.instrument_kills for r in results),
        "together": sum(r.together for r in results),
        "faults_fired": sum(sum(r.fired.values()) for r in results),
        "cells_fired": len({name for r in results for name in r.fired}),
        "moments_killed_at": len(moments),
        "outcomes": dict(outcomes),
        "with_alarms": sum(bool(r.alarms) for r in results),
        "longest_seconds": max((r.seconds for r in results), default=0),
    }


def main() -> int:
    """Run or go on with a campaign; 1 if there was an alarm."""
    parser = argparse.ArgumentParser(description="Disturb thousands of small days and judge each.")
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    parser.add_argument("--seed", type=int, default=1, metavar="N")
    parser.add_argument("--count", type=int, default=4, metavar="K", help="cases of each kind")
    parser.add_argument("--kind", action="append", choices=KINDS, help="again for more; all, if none is named")
    parser.add_argument("--number", type=int, action="append", metavar="N", help="these cases of each kind alone")
    parser.add_argument("--short", action="store_true", help="few cases of every kind, as the test suite has them")
    parser.add_argument("--at-once", type=int, default=12, metavar="N", help="cases side by side; they mostly wait")
    asked = parser.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)

    counts = SHORT if asked.short else dict.fromkeys(asked.kind or KINDS, asked.count)
    numbers = asked.number or range(max(counts.values()))
    orders = [Order(asked.seed, kind, n) for n in numbers for kind in counts if asked.number or n < counts[kind]]
    path = asked.folder / RESULTS
    done = _read(path)
    missing = [o for o in orders if o.name not in done]
    for left in (left for order in missing for left in asked.folder.glob(f"{order.name}-*")):
        shutil.rmtree(left, ignore_errors=True)
    if missing:
        preload()
    with path.open("a", encoding="utf-8") as out:
        for result in run_all(missing, asked.folder, asked.at_once):
            done[result.case] = result
            out.write(json.dumps(result.as_facts()) + "\n")
            out.flush()
            for alarm in result.alarms:
                sys.stderr.write(f"{result.case}: {alarm}\n")
    mine = [done[o.name] for o in orders]
    for kind in counts:
        sys.stdout.write(json.dumps({"kind": kind, **counted([r for r in mine if r.kind == kind])}) + "\n")
    sys.stdout.write(json.dumps({"kind": "all", **counted(mine)}) + "\n")
    return 1 if any(r.alarms for r in mine) else 0


if __name__ == "__main__":
    sys.exit(main())
