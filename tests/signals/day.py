"""A day of one simulated unit that is written soon, and the program that runs it, at a pipe or on a terminal."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

from benchday.demo.instruments import Bench, prepare, stop
from benchday.domain.scenario import Scenario
from benchday.inputs.sample import SCENARIO, scenario_text, shipped_scenario, write_sample
from benchday.inputs.sample_text import roster_text
from benchday_simulators.images import build_image
from tests.cli.answering import value_for

UNIT = "007421530018"
OPERATOR = "Ines Halloran"
WITHIN_S = 120.0
"""Real seconds after which a test has hung; nothing here takes a tenth of it on a computer with time."""

_DAY = """\
day: A day that is stopped
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
bench: stop-1
name: A bench that is stopped
stations: [{name: S1}]
cables: [{connector: round, number: R1}]
operators:
  - name: Ines Halloran
    may: [check in, preserve, confirm, last look]
"""


def write_day(folder: Path, payload_bytes: int) -> None:
    """Write the day, its one unit without recordings and on external power."""

    def image(**how: object) -> bytes:
        return build_image(**{**how, "payload_bytes": payload_bytes})  # type: ignore[arg-type]  # as they came

    write_sample(folder, 1, build_image=image, units=1)
    unit = next(u for u in shipped_scenario().units if u.serial == UNIT)
    starts = unit.starts.model_copy(update={"recordings": ()})
    unit = unit.model_copy(update={"starts": starts, "arrives": "00:00", "promised": None, "crew": ""})
    scenario = Scenario(scenario="stopped", seed=1, units=(unit,), lifts=())
    texts = {SCENARIO: scenario_text(scenario), "roster.csv": roster_text((unit,))}
    for name, text in {**texts, "day.yaml": _DAY, "bench.yaml": _BENCH}.items():
        (folder / name).write_text(text, encoding="utf-8")
    prepare(_bench(folder), scenario)
    state = folder / "instruments" / UNIT / "state.json"
    told = json.loads(state.read_text(encoding="utf-8"))
    state.write_text(json.dumps({**told, "external_power": True}), encoding="utf-8")


def _bench(folder: Path) -> Bench:
    return Bench(folder, folder / "record", 1000, None)


def end_instruments(folder: Path) -> None:
    """End the simulator."""
    stop(_bench(folder), [UNIT])


def facts(folder: Path, kind: str) -> list[dict[str, Any]]:
    """Return the facts of the entries of a kind, as they stand in the file."""
    journal = folder / "record" / "journal.db"
    if not journal.exists():
        return []
    with closing(sqlite3.connect(f"file:{journal}?mode=ro", uri=True)) as reading:
        rows = reading.execute("SELECT body FROM entry WHERE kind = ? ORDER BY seq", (kind,)).fetchall()
    return [json.loads(body)["facts"] for (body,) in rows]


def unit_log(folder: Path) -> list[dict[str, Any]]:
    """Return what the unit says of itself; the last line may still be being written."""
    log = folder / "instruments" / UNIT / "log.jsonl"
    text = log.read_text(encoding="utf-8") if log.exists() else ""
    return [json.loads(line) for line in text[: text.rfind("\n") + 1].splitlines()]


def wait_until(condition: Callable[[], object], what: str) -> None:
    """Return once the condition holds."""
    ends = time.monotonic() + WITHIN_S
    while time.monotonic() < ends:
        if condition():
            return
        time.sleep(0.02)
    raise AssertionError(f"not within {WITHIN_S:g} s: {what}")


def being_written(folder: Path) -> Callable[[], bool]:
    """Tell whether the unit has begun to take an image, and has not ended."""
    return lambda: {e["what"] for e in unit_log(folder)} & {"image_begin", "flashed"} == {"image_begin"}


class AtThePipe:
    """The program, with somebody at its pipe who answers everything but some topics."""

    def __init__(self, folder: Path, speed: float, *, leave_open: tuple[str, ...] = (), **environment: str) -> None:
        arguments = ["run", str(folder), "--operator", OPERATOR, "--pipe", "--speed", f"{speed:g}"]
        self.told: list[dict[str, Any]] = []
        self._leave_open = leave_open
        self._errors = folder / "program.err"
        with self._errors.open("ab") as errors:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "benchday.cli.main", *arguments],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=errors,
                text=True,
                env={**os.environ, **environment},
            )
        self._reader = threading.Thread(target=self._serve, daemon=True)
        self._reader.start()

    def send(self, *numbers: signal.Signals) -> None:
        """Send signals, each once the program has had its turn with the one before."""
        for number in numbers:
            said = self.errors()
            self.process.send_signal(number)
            wait_until(partial(self._said_since, said), f"what {number.name} means was not said")

    def _said_since(self, before: str) -> bool:
        return self.errors() != before

    def errors(self) -> str:
        """Return what was said on standard error."""
        return self._errors.read_text(encoding="utf-8")

    def ended(self) -> int:
        """Return the exit status of the program, which must end by itself."""
        return self.process.wait(WITHIN_S)

    def asked(self, topic: str) -> Callable[[], bool]:
        """Tell whether an item on a topic was asked for."""
        return lambda: any(str(line.get("topic", "")).startswith(topic) for line in tuple(self.told))

    def leave(self) -> None:
        """Close both ends of the pipe, as a program that was killed does."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        nothing = os.open(os.devnull, os.O_RDONLY)
        os.dup2(nothing, self.process.stdout.fileno())
        os.close(nothing)

    def kill(self) -> None:
        """End it, whatever it does."""
        self.process.send_signal(signal.SIGCONT)
        self.process.kill()
        self.process.wait()
        self._reader.join()
        for end in (self.process.stdin, self.process.stdout):
            assert end is not None
            with suppress(OSError):
                end.close()

    def _serve(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            told = json.loads(line)
            self.told.append(told)
            if "topic" in told and told["topic"].split(" ")[0] not in self._leave_open:
                self._answer(told)

    def _answer(self, item: dict[str, Any]) -> None:
        assert self.process.stdin is not None
        given = {"id": item["id"], "value": value_for(item, UNIT[-4:]), "operator": OPERATOR}
        try:
            self.process.stdin.write(json.dumps(given) + "\n")
            self.process.stdin.flush()
        except (OSError, ValueError):
            return


@contextmanager
def at_the_pipe(folder: Path, speed: float, **how: Any) -> Iterator[AtThePipe]:
    """Run the day; whatever happens, nothing of it is left."""
    run = AtThePipe(folder, speed, **how)
    try:
        yield run
    finally:
        run.kill()
