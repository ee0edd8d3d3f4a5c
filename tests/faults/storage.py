"""Storage that fails under a running day: ``python -m tests.faults.storage --seed 1 --count 200``.

A fault is drawn (what goes wrong, at which file, at which call, once or for good); a real day of one unit on real
simulator processes is run by benchday under it; then the same is run again on sound storage until the day is done. What
must hold: a run that could not finish says what, where and what to do, with status 1 or 5; whatever was acknowledged is
there; no image began without a durable intent; the next run goes on; and at the end the record proves.

Each run is a process forked from one that has everything imported and runs under the shim.
"""

from __future__ import annotations

import argparse
import errno
import json
import os
import random
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import anyio

from benchday.cli.conduct import status_of
from benchday.record.checking import check_record
from tests.faults.checker import violations
from tests.faults.days import ONE_WRITE, Ground
from tests.faults.forked import Instruments, count_journals, preload, serve
from tests.faults.points import Points
from tests.faults.storage_shim import PARTS, Fault, Sort, arm, compiled, failed, tally, under_the_shim

RUNS_AT_MOST = 4
AT_ONCE = 2
ROOT = Path(__file__).parents[2]
TALLY = "tally.json"
ERRORS = {
    Sort.WRITE: (errno.ENOSPC, errno.EIO, errno.EDQUOT),
    Sort.SHORT: (0,),
    Sort.SYNC: (errno.EIO, errno.ENOSPC),
    Sort.SLOW: (0,),
    Sort.RENAME: (errno.EIO, errno.ENOSPC),
    Sort.READ: (errno.EIO,),
    Sort.MAKE: (errno.EROFS, errno.EACCES, errno.ENOSPC),
}
HARMLESS = (Sort.SHORT, Sort.SLOW)
"""What a program has to cope with without a word."""
WHAT_TO_DO = re.compile(r"make room|check the disk|writable|can be written|replace that disk|restore COPY|use another")


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a fault."""

    fault: str
    hit: int
    """How many calls went wrong."""
    statuses: tuple[int, ...]
    """How each run ended."""
    said: str
    """What the run under the fault said on standard error."""
    faults: tuple[str, ...]
    """What does not hold."""


def drawn(seed: int, count: int, calls: dict[tuple[Sort, str], int]) -> Iterator[Fault]:
    """Draw faults, each sort as often as another, at a call that a sound day makes.

    Args:
        seed: equal seeds draw the same.
        count: how many.
        calls: how many calls of a sort a sound day makes at a file.
    """
    draw = random.Random(seed)
    sorts = [s for s in ERRORS if any(calls.get((s, part)) for part in PARTS)]
    for number in range(count):
        sort = sorts[number % len(sorts)]
        part = draw.choice([p for p in PARTS if calls.get((sort, p))])
        most = calls[sort, part]
        nth = draw.randint(1, most)
        yield Fault(sort, part, nth, draw.random() < 0.5, draw.choice(ERRORS[sort]))


def run_once(ground: Ground, fault: Fault | None) -> tuple[int, int, str]:
    """Run the day in a process of its own; return its status, how many calls went wrong, and what it said."""
    told, errors = ground.folder / "told.json", ground.folder / "program.err"
    told.unlink(missing_ok=True)
    errors.unlink(missing_ok=True)
    child = os.fork()
    if child == 0:
        _in_child(ground, fault, told, errors)
    os.waitpid(child, 0)
    said = errors.read_text(encoding="utf-8") if errors.exists() else ""
    if not told.exists():
        return -1, 0, said
    status, hit = json.loads(told.read_text(encoding="utf-8"))
    return status, hit, said


def _in_child(ground: Ground, fault: Fault | None, told: Path, errors: Path) -> None:
    try:
        fd = os.open(errors, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        os.dup2(fd, sys.stderr.fileno())
        os.dup2(fd, sys.stdout.fileno())
        if fault is not None:
            arm(fault, ground.folder / "record")
        status = status_of(lambda: _day(ground))
        sys.stderr.flush()
        if fault is not None and fault.sort is Sort.COUNT:
            (ground.folder / TALLY).write_text(json.dumps(tally()), encoding="utf-8")
        told.write_text(json.dumps([int(status), failed()]), encoding="utf-8")
    except BaseException:  # noqa: BLE001 - told to the parent, whatever it is
        traceback.print_exc()
        sys.stderr.flush()
    finally:
        os._exit(0)


def _day(ground: Ground) -> int:
    points = Points(ground.folder)
    count_journals(points)
    return 0 if anyio.run(serve, ground, points) == "finished" else 3


def calls_of(ground: Ground, folder: Path) -> dict[tuple[Sort, str], int]:
    """Count the calls of each sort at each file in a sound day."""
    here = ground.copied(folder / "counting")
    with _instruments(here):
        status, _, said = run_once(here, Fault(Sort.COUNT, "", 1, lasting=False))
    if status != 0:
        raise RuntimeError(f"the day itself is not without fault: {status}\n{said}")
    told = json.loads((here.folder / TALLY).read_text(encoding="utf-8"))
    shutil.rmtree(here.folder, ignore_errors=True)
    calls = {(sort, part): told[f"{sort.name} {part}"] for sort in ERRORS for part in PARTS}
    for part in PARTS:
        calls[Sort.SHORT, part], calls[Sort.SLOW, part] = calls[Sort.WRITE, part], calls[Sort.SYNC, part]
    return calls


@contextmanager
def _instruments(ground: Ground) -> Iterator[Instruments]:
    instruments = Instruments(ground)
    try:
        instruments.start()
        yield instruments
    finally:
        instruments.stop()


def run_case(ground: Ground, folder: Path, fault: Fault) -> Result:
    """Run a day under a fault, then on sound storage until it is done; what is left stays if something is wrong."""
    here = ground.copied(folder)
    faults: list[str] = []
    statuses: list[int] = []
    with _instruments(here) as instruments:
        status, hit, said = run_once(here, fault)
        statuses.append(status)
        faults += [*_manners(fault, hit, status, said), *_judged(folder, finished=False)]
        later = ""
        while statuses[-1] != 0 and len(statuses) < RUNS_AT_MOST:
            instruments.start()
            status, _, later = run_once(here, None)
            statuses.append(status)
            faults += _judged(folder, finished=status == 0)
        if statuses[-1] != 0:
            faults.append(f"it did not go on: {later}")
    faults += [f"the record does not prove: {f.text}" for f in check_record(folder / "record").faults]
    if not faults:
        shutil.rmtree(folder, ignore_errors=True)
    return Result(str(fault), hit, tuple(statuses), said, tuple(dict.fromkeys(faults)))


def _judged(folder: Path, *, finished: bool) -> list[str]:
    """Have the checker judge a day; a journal that was not even made yet holds nothing to judge."""
    try:
        return violations(folder, finished=finished)
    except sqlite3.OperationalError as error:
        return [] if "no such table: entry" in str(error) else [str(error)]


def _manners(fault: Fault, hit: int, status: int, said: str) -> Iterator[str]:
    """Yield what is wrong with how a run under a fault ended, and with what it said."""
    complaints = [line for line in said.splitlines() if line.startswith("benchday: ")]
    if "Traceback" in said or "a fault of benchday" in said:
        yield f"it ended with a fault of its own: {said}"
    elif status not in (0, 1, 5):
        yield f"it ended with status {status}: {said}"
    elif status and not complaints:
        yield f"it ended with status {status} and without a word"
    elif status and (fault.sort in HARMLESS or not hit):
        yield f"it ended with status {status} although nothing failed: {complaints}"
    else:
        yield from (
            f"it does not say what and where, and what to do: {line}"
            for line in complaints
            if "record" not in line or not WHAT_TO_DO.search(line)
        )


def run_cases(faults: Sequence[Fault], ground: Ground, folder: Path) -> Iterator[Result]:
    """Run the cases, a few at once, each in a process forked from this one; yield each as it ends."""
    waiting = list(enumerate(faults))
    running: dict[int, int] = {}
    while waiting or running:
        while waiting and len(running) < AT_ONCE:
            number, fault = waiting.pop(0)
            running[_forked(ground, folder / f"case-{number}", fault)] = number
        pid, _ = os.wait()
        if pid in running:
            number = running.pop(pid)
            path = folder / f"case-{number}.json"
            if path.exists():
                fault, hit, statuses, said, wrong = json.loads(path.read_text(encoding="utf-8"))
                yield Result(fault, hit, tuple(statuses), said, tuple(wrong))
            else:
                yield Result(str(faults[number]), 0, (), "", ("the case itself went wrong",))


def _forked(ground: Ground, folder: Path, fault: Fault) -> int:
    child = os.fork()
    if child:
        return child
    try:
        r = run_case(ground, folder, fault)
        told = [r.fault, r.hit, r.statuses, r.said, r.faults]
    except BaseException:  # noqa: BLE001 - told as a fault, whatever it is
        told = [str(fault), 0, [], "", [traceback.format_exc()]]
    folder.with_suffix(".json").write_text(json.dumps(told), encoding="utf-8")
    os._exit(0)


@contextmanager
def _ground() -> Iterator[Path]:
    folder = Path(tempfile.mkdtemp(prefix="storage-"))
    try:
        yield folder
    finally:
        if not list(folder.glob("case-*/")):
            shutil.rmtree(folder, ignore_errors=True)


def under_shim(
    arguments: Sequence[str], folder: Path, module: str = "tests.faults.storage"
) -> subprocess.CompletedProcess[str]:
    """Run a module under the shim, compiled into a folder."""
    environment = os.environ | {"LD_PRELOAD": str(compiled(folder))}
    command = [sys.executable, "-m", module, *arguments]
    return subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, text=True, check=False)


def main() -> int:
    """Run as many cases as asked for and tell of each; status 1 if something does not hold."""
    asked = argparse.ArgumentParser(prog="python -m tests.faults.storage")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--count", type=int, default=200)
    options = asked.parse_args()
    if not under_the_shim():
        with tempfile.TemporaryDirectory() as folder:
            os.environ["LD_PRELOAD"] = str(compiled(Path(folder)))
            return subprocess.run([sys.executable, "-m", "tests.faults.storage", *sys.argv[1:]], check=False).returncode
    wrong = 0
    with _ground() as folder:
        preload()
        ground = Ground.laid_out(folder / "day", (ONE_WRITE,))
        calls = calls_of(ground, folder)
        for result in run_cases([*drawn(options.seed, options.count, calls)], ground, folder):
            wrong += bool(result.faults)
            _tell(result)
    sys.stdout.write(f"{options.count} faults, seed {options.seed}: {wrong} do not hold\n")
    return 1 if wrong else 0


def _tell(result: Result) -> None:
    sys.stdout.write(f"{'WRONG' if result.faults else 'held '} {result.fault}: {result.hit} hit, {result.statuses}\n")
    for line in result.said.splitlines():
        if line.startswith("benchday: "):
            sys.stdout.write(f"      {line}\n")
    for fault in result.faults:
        sys.stdout.write(f"   !  {fault}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    raise SystemExit(main())
