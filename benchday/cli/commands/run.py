"""run: the day, with people at the terminal, a program at the pipe, or nobody."""

from __future__ import annotations

import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import anyio

from benchday.at_hand.drivers import installed_drivers
from benchday.bench.foreseeing import PLENTY, SPARING
from benchday.cli.conduct import complain, say_nothing_more
from benchday.cli.exits import Exit
from benchday.cli.lines import LineReader
from benchday.cli.nobody import Nobody
from benchday.cli.output import print_document
from benchday.cli.pipe import Pipe, to_stdout
from benchday.cli.standing import bench_document
from benchday.cli.stopping import Interruptible
from benchday.domain.bench import Instruments
from benchday.domain.errors import InputError
from benchday.domain.plan import DayPlan
from benchday.domain.plan_says import plan_of
from benchday.domain.steps import State
from benchday.inputs.day import load_day
from benchday.inputs.outcome import nearest
from benchday.logs import Kept, set_up
from benchday.record.modes import open_to_others
from benchday.record.place import record_folder
from benchday.wiring import Ended, RunOptions, run_day


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command line asks for."""

    folder: Path
    operator: str
    speed: float
    seed: int
    record: Path | None
    no_input: bool
    pipe: bool
    as_json: bool


def run(asked: Asked) -> int:
    """Run the day until it is done or stopped.

    Raises:
        InputError: the files hold mistakes, or the operator is none of this bench.
    """
    if asked.no_input and asked.pipe:
        raise InputError("--no-input and --pipe exclude each other: leave one out")
    plan = load_day(asked.folder, installed_drivers())
    known_operator(asked.operator, plan)
    open_to_all = open_to_others(record_folder(asked.folder, plan.day.record, asked.record))
    if open_to_all is not None:
        complain(f"worth knowing: {open_to_all}")
    face = _face(asked)
    kept = Kept() if _takes_the_screen(asked) else None
    set_up(stream=kept)
    try:
        ended = anyio.run(_run, asked, plan, face)
    finally:
        if kept is not None:
            with suppress(OSError):
                sys.stderr.write(kept.getvalue())
    try:
        _tell(asked, ended)
        sys.stdout.flush()
    except OSError:
        # The day ended as it ended, also where nobody can be told any more.
        say_nothing_more()
    return _status(ended, interrupted=face.interrupted)


def _takes_the_screen(asked: Asked) -> bool:
    if asked.no_input or asked.pipe:
        return False
    from benchday.cli.terminal.serve import full_screen

    return full_screen(quiet=asked.as_json)


def known_operator(name: str, plan: DayPlan) -> None:
    """Check that somebody of that name acts on this bench.

    Raises:
        InputError: nobody does.
    """
    names = [o.name for o in plan.bench.operators]
    if name in names:
        return
    near = nearest(name, names)
    hint = f" (did you mean {near!r}?)" if near else ""
    raise InputError(f"--operator {name!r} is not an operator of this bench{hint}; operators: {', '.join(names)}")


async def _run(asked: Asked, plan: DayPlan, face: Interruptible) -> Ended:
    # Programs and nobody lift nothing: for them the day ends when nothing is left to do.
    linger = not (asked.no_input or asked.pipe)
    pace = None if asked.no_input else PLENTY if asked.speed == 1 else SPARING
    options = RunOptions(round(asked.speed * 1000), asked.seed, asked.record, pace=pace, linger=linger)
    async with face.heard():
        if plan.day.instruments is Instruments.SIMULATED:
            from benchday.demo.run import run_simulated

            return await run_simulated(asked.folder, options, face)
        return await run_day(asked.folder, options, face)


def _face(asked: Asked) -> Interruptible:
    if asked.no_input:
        return Interruptible(Nobody(asked.operator))
    if asked.pipe:
        return Interruptible(Pipe(asked.operator, LineReader(sys.stdin.fileno())))
    from benchday.cli.terminal.serve import face_for

    return face_for(asked.operator, quiet=asked.as_json)


def _tell(asked: Asked, ended: Ended) -> None:
    state, plan = ended.state, plan_of(ended.state.inputs)
    if asked.pipe:
        to_stdout(f'{{"ended": "{ended.why}"}}')
    elif asked.as_json or asked.no_input:
        print_document("run", {"why": ended.why, **bench_document(state, plan, state.open_items())})
    else:
        print(_sentence(asked, ended))


def _status(ended: Ended, *, interrupted: bool) -> int:
    if ended.why == "nobody":
        return Exit.NOBODY
    if ended.why == "stopped":
        return Exit.INTERRUPTED if interrupted else Exit.DONE
    return Exit.HELD if any(u.state is State.HELD for u in ended.state.units.values()) else Exit.DONE


def _sentence(asked: Asked, ended: Ended) -> str:
    if ended.why == "finished":
        return f'The day is done. Close it with: benchday close {asked.folder} --operator "{asked.operator}"'
    again = f'benchday run {asked.folder} --operator "{asked.operator}"'
    why = "A person is needed and nobody is there." if ended.why == "nobody" else "Stopped; nothing is lost."
    return f"{why} Take the day up again with: {again}"
