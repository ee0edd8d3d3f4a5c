"""One case: a small day that is disturbed, gone on with until it ends, and judged from its files after every run."""

from __future__ import annotations

import shutil
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from tests.faults.checker import MOVES, WAITS, Row, log_of, rows_of, violations
from tests.faults.days import SPEED, Ground
from tests.faults.forked import Instruments, Program
from tests.faults.points import Kill, Points

HANG_S = 600.0
"""Real seconds after which a run that was not killed is taken to hang; a quiet one ends in four."""
RUNS_AT_MOST = 40
TOO_LATE = "too late for today"
"""How a unit ends that was sent off because it would not be ready by closing."""
SLOWER = 400
"""Day seconds to one real second where instruments fail: waiting for one that is silent takes real seconds."""


@dataclass(slots=True)
class Result:
    """What came of a case."""

    case: str
    kind: str
    day: list[str] = field(default_factory=list)
    """Serials."""
    program_kills: int = 0
    instrument_kills: int = 0
    together: int = 0
    """Kills of the program with its instruments at once; counted in the other two as well."""
    fired: dict[str, int] = field(default_factory=dict)
    """Trouble that instruments suffered, by kind, moment and model, as they say themselves."""
    where: list[str] = field(default_factory=list)
    """The moments at which the program was killed, where it knew them."""
    outcomes: dict[str, str] = field(default_factory=dict)
    """Serial -> the last move on its way."""
    runs: list[str] = field(default_factory=list)
    """How each run ended."""
    alarms: list[str] = field(default_factory=list)
    seconds: float = 0.0

    def as_facts(self) -> dict[str, Any]:
        """Return it as it is written down."""
        return asdict(self)


class Hangs(Exception):
    """A run did not end."""


class Case:
    """A day of its own, and what came of it so far."""

    def __init__(self, ground: Ground, folder: Path, result: Result, speed: int = SPEED) -> None:
        """Copy the day to a folder of the case's own."""
        shutil.rmtree(folder, ignore_errors=True)
        self.ground, self.speed = ground.copied(folder), speed
        self.folder, self.result = folder, result
        result.day = list(self.ground.serials)
        self._instruments: Instruments | None = None

    @property
    def instruments(self) -> Instruments:
        """The instruments, once somebody wants them."""
        if self._instruments is None:
            self._instruments = Instruments(self.ground, self.speed)
        return self._instruments

    def run(
        self,
        kill: Kill | None = None,
        meanwhile: Callable[[Program], None] | None = None,
        before_death: Callable[[], None] = lambda: None,
    ) -> str:
        """Run the program once, and judge what it leaves; say how it ended.

        Args:
            kill: where it kills itself.
            meanwhile: what is done to it from outside.
            before_death: what it does right before it kills itself.

        Raises:
            Hangs: it did not end.
        """
        self.instruments.start()
        program = Program(self.ground, Points(self.folder, kill, before_death), self.speed)
        if meanwhile is not None:
            meanwhile(program)
        ended = program.ended(HANG_S)
        if ended is None:
            program.kill()
            program.ended(20)
            raise Hangs(f"a run did not end within {HANG_S:g} s")
        self.told(ended)
        return ended

    def told(self, ended: str) -> None:
        """Take down how a run ended, and judge what it left."""
        self.result.runs.append(ended)
        self.result.program_kills += ended == "killed"
        self.result.alarms += violations(self.folder, finished=ended == "finished")
        self.result.alarms += lost(self.folder)

    def to_its_end(self) -> None:
        """Call the program again until it ends by itself; it must not take long."""
        while (not self.result.runs or self.result.runs[-1] == "killed") and len(self.result.runs) < RUNS_AT_MOST:
            self.run()

    def close(self, *, all_handed_back: bool) -> None:
        """End the instruments, and take down how every unit ended."""
        if self._instruments is not None:
            self.result.alarms += [f"the simulated unit {s} ended by itself" for s in self._instruments.fallen()]
            self._instruments.stop()
        if not self.result.runs or self.result.runs[-1] != "finished":
            self.result.alarms.append(f"the last run ended as {(self.result.runs or ['nothing'])[-1]}")
        self.result.outcomes = _outcomes(rows_of(self.folder))
        # On a busy computer the hours of a simulated day may be over before all is done: then nothing more is begun.
        fine = ("unit_handed_back", TOO_LATE)
        others = [f"{s} ended as {o}" for s, o in self.result.outcomes.items() if o not in fine]
        if all_handed_back and (others or not self.result.outcomes):
            self.result.alarms += others or ["no unit came"]
        self.result.fired = dict(fired(self.ground))
        killed = self.folder / "killed.txt"
        self.result.where = killed.read_text(encoding="utf-8").splitlines() if killed.exists() else []
        self.result.alarms = list(dict.fromkeys(self.result.alarms))


def _outcomes(rows: list[Row]) -> dict[str, str]:
    """Return how each unit ended: its last move, with the reason if it is held."""
    closes_us = next((r.facts["closes_us"] for r in rows if r.kind == "day_begun"), 0)
    found: dict[str, str] = {}
    for row in rows:
        move = row.facts.get("step") if row.kind == "step_begun" else row.kind
        if row.unit and move in MOVES:
            found[row.unit] = f"{move}: {row.facts['reason']}" if move == "unit_held" else str(move)
            if move == "unit_sent_off" and row.facts["for_today"]:
                found[row.unit] = TOO_LATE
    if rows and rows[-1].at_us >= closes_us:
        # Whoever waits for a station at closing time waits for another day.
        found = {unit: TOO_LATE if move in WAITS else move for unit, move in found.items()}
    return found


def lost(folder: Path) -> list[str]:
    """Return the entries that the program was told are recorded, and that are not there."""
    path = folder / "acknowledged.txt"
    kept = {row.seq: row.digest.hex() for row in rows_of(folder)}
    told = [line.split() for line in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []
    return [f"entry {seq} was acknowledged and is lost" for seq, digest in told if kept.get(int(seq)) != digest]


def fired(ground: Ground) -> Counter[str]:
    """Count the trouble that the instruments of a day say that they suffered."""
    counted: Counter[str] = Counter()
    for unit in ground.scenario.units:
        for line in log_of(ground.folder / "instruments" / unit.serial / "log.jsonl"):
            if line["what"] == "trouble":
                counted[f"{line['kind']} | {line['when']} | {unit.model}"] += 1
    return counted


# The kinds of kills; each disturbs some runs of a case's first, the last runs to its end by itself.


def clean(case: Case, draw: Random, number: int) -> None:
    """Nothing happens."""
    case.run()


def at_points(case: Case, draw: Random, number: int) -> None:
    """Kill it before and after appends and effects: one point of the whole day in turn, and some that are drawn."""
    case.run(Kill(1 + number % 220))
    for _ in range(draw.randrange(6, 21)):
        if case.result.runs[-1] == "killed":
            case.run(Kill(draw.choice((draw.randrange(1, 25), draw.randrange(1, 170)))))


def at_instants(case: Case, draw: Random, number: int) -> None:
    """Kill it from outside, by the clock alone."""
    for _ in range(draw.randrange(6, 17)):
        case.run(meanwhile=lambda program: _killed_after(program, draw.uniform(0.02, draw.choice((0.6, 4.0)))))
        if case.result.runs[-1] != "killed":
            return


def _killed_after(program: Program, seconds: float) -> None:
    if program.ended(seconds) is None:
        program.kill()


BESIDE_ACTS = (
    "write: ",
    "restart: ",
    "after spend",
    "before append act_ended",
    "after append permit_given",
    "copy: ",
    "before file",
)


def in_recovery(case: Case, draw: Random, number: int) -> None:
    """Kill it beside an act or a copy, and then again and again while it takes the day up."""
    beginning = BESIDE_ACTS[number % len(BESIDE_ACTS)]
    case.run(Kill(draw.randrange(1, 5), beginning))
    for _ in range(draw.randrange(4, 13)):
        if case.result.runs[-1] == "killed":
            case.run(Kill(draw.randrange(1, 16)))


def of_instruments(case: Case, draw: Random, number: int) -> None:
    """Kill instruments while the program goes on; each comes back after a while, as after a loss of power."""

    def meanwhile(program: Program) -> None:
        for _ in range(draw.randrange(1, 5)):
            if program.ended(draw.uniform(0.05, draw.choice((1.0, 4.0)))) is not None:
                return
            case.instruments.kill(draw.choice(case.ground.serials))
            case.result.instrument_kills += 1
            program.ended(draw.uniform(0.0, 1.0))
            case.instruments.start()

    case.run(meanwhile=meanwhile)


def of_both(case: Case, draw: Random, number: int) -> None:
    """Kill program and instruments at once, at a moment of the program or by the clock alone."""
    for _ in range(draw.randrange(4, 13)):
        if draw.random() < 0.5:
            pids = case.instruments
            case.run(Kill(draw.randrange(1, 120)), before_death=lambda p=pids: p.kill_all_at_once())  # type: ignore[misc]
        else:
            seconds = draw.uniform(0.02, draw.choice((0.6, 4.0)))
            case.run(meanwhile=lambda program, s=seconds: _both_killed_after(case, program, s))  # type: ignore[misc]
        if case.result.runs[-1] != "killed":
            return
        case.result.together += 1
        case.result.instrument_kills += len(case.ground.serials)
        case.instruments.bury()


def _both_killed_after(case: Case, program: Program, seconds: float) -> None:
    if program.ended(seconds) is None:
        program.kill()
        case.instruments.kill_all_at_once()
        if program.ended(HANG_S) != "killed":
            # It had ended in this very instant: its instruments were killed, and nobody else will bury them.
            case.instruments.bury()


def timed(work: Callable[[], None], result: Result) -> None:
    """Do something and take down how long it took."""
    began = time.monotonic()
    work()
    result.seconds = round(time.monotonic() - began, 1)
