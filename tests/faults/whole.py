"""Whole processes: the command as a person calls it, and its simulated instruments, killed together from outside."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, suppress
from pathlib import Path
from random import Random

from tests.faults.cases import HANG_S, Case, Hangs

LOOK_S = 0.02
SPEED = 3000


def of_whole_processes(case: Case, draw: Random, number: int) -> None:
    """Call the demo, kill it with its instruments, and call it again with the same words, until it ends."""
    kills = draw.randrange(3, 7)
    while len(case.result.runs) <= kills:
        # Every fourth at any instant, be it while it still starts; the others once it has taken the day up.
        after_start = draw.random() < 0.75
        seconds = draw.uniform(0.0, draw.choice((0.4, 3.0))) if after_start else draw.uniform(0.1, 3.0)
        together = draw.random() < 0.8
        last = len(case.result.runs) == kills
        if not case.result.runs:
            # The first surely meets both at work, however fast the computer is.
            after_start, together, seconds = True, True, seconds * 0.1
        if _run(case, None if last else seconds, after_start=after_start, together=together) != "killed":
            return


def _run(case: Case, seconds: float | None, *, after_start: bool, together: bool) -> str:
    """Run the command once; it is killed after some seconds, or left to its end."""
    command = [sys.executable, "-m", "benchday.cli.main", "demo", str(case.folder), "--json", "--speed", str(SPEED)]
    with (case.folder / "program.err").open("ab") as errors, (case.folder / "program.out").open("wb") as out:
        program = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=out, stderr=errors)
    ended = "killed"
    try:
        if seconds is not None and after_start:
            _until_taken_up(case, program)
        status = program.wait(seconds if seconds is not None else HANG_S)
        ended = "finished" if status == 0 else f"the command ended with {status}; see program.err"
    except subprocess.TimeoutExpired:
        if seconds is None:
            raise Hangs(f"the command did not end within {HANG_S:g} s") from None
        _kill(case, program, together=together)
    finally:
        if program.poll() is None:
            program.kill()
            program.wait()
    case.told(ended)
    return ended


def _until_taken_up(case: Case, program: subprocess.Popen[bytes]) -> None:
    """Wait until the day is taken up; the first time, until its instruments run as well."""
    before, until = _starts(case.folder), time.monotonic() + HANG_S

    def is_up() -> bool:
        return _starts(case.folder) != before and (before > 0 or bool(running(case)))

    while not is_up() and program.poll() is None and time.monotonic() < until:
        time.sleep(LOOK_S)


def _starts(folder: Path) -> int:
    with (
        suppress(sqlite3.Error),
        closing(sqlite3.connect(f"file:{folder / 'record' / 'journal.db'}?mode=ro", uri=True)) as database,
    ):
        told = database.execute("SELECT count(*) FROM entry WHERE kind = 'program_started'").fetchone()
        return int(told[0])
    return 0


def _kill(case: Case, program: subprocess.Popen[bytes], *, together: bool) -> None:
    instruments = running(case) if together else []
    for pid in (program.pid, *instruments):
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    program.wait()
    case.result.instrument_kills += len(instruments)
    case.result.together += bool(instruments)


def running(case: Case) -> list[int]:
    """Return the process numbers of the instruments that run."""
    found = []
    for serial in case.ground.serials:
        path = case.folder / "instruments" / serial / "running.json"
        with suppress(OSError, ValueError):
            pid = int(json.loads(path.read_text(encoding="utf-8"))["pid"])
            if serial.encode() in Path(f"/proc/{pid}/cmdline").read_bytes().split(b"\0"):
                found.append(pid)
    return found


def end_instruments(case: Case) -> None:
    """End the instruments that a case left running."""
    for pid in running(case):
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGTERM)
