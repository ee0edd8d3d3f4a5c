"""The simulated instruments of a day, as processes that are started or found again."""

from __future__ import annotations

import json
import os
import secrets
import signal
import subprocess
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import anyio
import anyio.to_thread

from benchday.domain.errors import LinkError
from benchday.domain.scenario import Coming, Scenario, ScenarioUnit
from benchday.record.place import Place
from benchday.wiring import PORTS, SIMULATOR_KEY

INSTRUMENTS = "instruments"
READY_WITHIN_S = 30.0
_RUNNING = "running.json"


@dataclass(frozen=True, slots=True)
class Bench:
    """Where the simulated instruments of a day live, and how fast their physics goes."""

    folder: Path
    """The day's folder."""
    record: Path
    speed_milli: int
    trouble: Path | None

    @property
    def instruments(self) -> Path:
        """The folder with one folder for each unit."""
        return self.folder / INSTRUMENTS

    def of(self, serial: str) -> Path:
        """The folder of one unit."""
        return self.instruments / serial


def prepare(bench: Bench, scenario: Scenario) -> None:
    """Lay out what the instruments start with, for those that have nothing yet; draw the day's key."""
    from benchday_simulators.prepare import prepare as prepare_unit  # noqa: PLC0415 - only the demo needs it

    keys = Place.prepared(bench.record).keys
    if not (keys / SIMULATOR_KEY).exists():
        (keys / SIMULATOR_KEY).touch(mode=0o600)
        (keys / SIMULATOR_KEY).write_text(secrets.token_hex(32), encoding="ascii")
    (bench.folder / PORTS).mkdir(parents=True, exist_ok=True)
    (bench.instruments / "air").mkdir(exist_ok=True)
    for number, unit in enumerate(scenario.units):
        if unit.coming is not Coming.ABSENT and not (bench.of(unit.serial) / "state.json").exists():
            seed = scenario.seed * 1000 + number
            # Crews bring their units switched off; whoever connects one switches it on.
            told = {**unit.starts.overrides(), "switched_on": False, "antenna_fitted": False}
            prepare_unit(bench.of(unit.serial), unit.model, unit.serial, seed, **told)


async def start(bench: Bench, scenario: Scenario) -> None:
    """Start each unit that comes, or find the process that a program which ended left running.

    Raises:
        LinkError: a simulator did not start; the text says what it said.
    """
    await anyio.to_thread.run_sync(prepare, bench, scenario)
    keeper = bench.instruments / "keeper"
    keeper.write_text(f"{os.getpid()}\n", encoding="ascii")
    coming = [(n, u) for n, u in enumerate(scenario.units) if u.coming is not Coming.ABSENT]
    for batch in (coming[i : i + 4] for i in range(0, len(coming), 4)):
        # Four at a time: each takes a moment of a core to start.
        async with anyio.create_task_group() as starting:
            for number, unit in batch:
                if not _found(bench, unit):
                    starting.start_soon(
                        anyio.to_thread.run_sync, _start_one, bench, unit, scenario.seed * 1000 + number
                    )


def _found(bench: Bench, unit: ScenarioUnit) -> bool:
    """Tell whether the unit's process still runs, at the same speed; one at another speed is ended."""
    told = _running(bench, unit.serial)
    if told is None:
        return False
    if told.get("speed_milli") == bench.speed_milli and told.get("trouble") == str(bench.trouble):
        return True
    _end(int(told["pid"]))
    return False


def _running(bench: Bench, serial: str) -> dict[str, Any] | None:
    try:
        told: dict[str, Any] = json.loads((bench.of(serial) / _RUNNING).read_text(encoding="utf-8"))
        os.kill(int(told["pid"]), 0)
    except (OSError, ValueError, KeyError):
        return None
    return told if _is_ours(int(told["pid"]), serial) else None


def _is_ours(pid: int, serial: str) -> bool:
    """Guard against a process number that has been given to somebody else, where the system tells."""
    command = Path(f"/proc/{pid}/cmdline")
    return not command.exists() or serial.encode() in command.read_bytes().split(b"\0")


def _start_one(bench: Bench, unit: ScenarioUnit, seed: int) -> None:
    home = bench.of(unit.serial)
    options: dict[str, str | Path] = {
        "--serial": unit.serial,
        "--state": home,
        "--speed": f"{bench.speed_milli / 1000:g}",
        "--seed": str(seed),
        "--key": Place(bench.record).keys / SIMULATOR_KEY,
        "--link": bench.folder / PORTS / unit.serial,
        "--air": bench.instruments / "air",
        "--keeper": bench.instruments / "keeper",
    }
    if bench.trouble is not None:
        options["--trouble"] = bench.trouble
    words = [str(word) for pair in options.items() for word in pair]
    command = [sys.executable, "-m", "benchday_simulators", "serve", unit.model, *words]
    with (home / "simulator.err").open("ab") as errors:
        # A session of its own: Ctrl-C in the terminal is meant for the program, not for the instruments.
        process = subprocess.Popen(  # noqa: S603 - our own interpreter and program
            command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=errors, start_new_session=True
        )
    assert process.stdout is not None  # noqa: S101 - asked for above
    with process.stdout:
        ready = process.stdout.readline()
    if not ready:
        words_said = (home / "simulator.err").read_text(encoding="utf-8", errors="replace").strip().splitlines()[-1:]
        raise LinkError(f"the simulated unit {unit.serial} did not start: {' '.join(words_said) or 'it said nothing'}")
    told = {**json.loads(ready), "speed_milli": bench.speed_milli, "trouble": str(bench.trouble)}
    # Without the sign-in: that stands in the link's file alone.
    kept = {name: value for name, value in told.items() if name not in ("user", "password")}
    (home / _RUNNING).write_text(json.dumps(kept), encoding="utf-8")
    # The process outlives this program on purpose; nobody waits for it.
    process.returncode = 0


def stop(bench: Bench, serials: Iterable[str]) -> None:
    """End the units' processes; their state stays on disk."""
    for serial in serials:
        told = _running(bench, serial)
        if told is not None:
            _end(int(told["pid"]))
        (bench.of(serial) / _RUNNING).unlink(missing_ok=True)


def _end(pid: int) -> None:
    try:
        os.kill(pid, signal.SIGTERM)
    except ProcessLookupError:
        return


def read_state(bench: Bench, serial: str) -> Mapping[str, Any]:
    """Return the unit's whole state as its process last wrote it."""
    told: Mapping[str, Any] = json.loads((bench.of(serial) / "state.json").read_text(encoding="utf-8"))
    return told
