"""demo: a whole day with simulated instruments and operators."""

from __future__ import annotations

import sys
from pathlib import Path

import anyio

from benchday.cli.exits import Exit
from benchday.cli.output import colours_wanted, json_text
from benchday.cli.stopping import Interruptible
from benchday.cli.watching import Watcher
from benchday.demo.report import DemoReport
from benchday.demo.run import DemoOptions, run_demo
from benchday.demo.table import table_of
from benchday.logs import set_up


def demo(folder: Path, units: int | None, seed: int, speed: float, trouble: Path | None, *, as_json: bool) -> int:
    """Run the demo day, or go on with it, and tell what became of each unit.

    Raises:
        InputError: the trouble file is not there.
        MistakesFound: it cannot be used; nothing has been written or started.
    """
    set_up()
    options = DemoOptions(units, seed, round(speed * 1000), trouble)
    face = Interruptible(Watcher(quiet=as_json or not sys.stdout.isatty()))
    report = anyio.run(_run, folder, options, face)
    if as_json:
        print(json_text(report.document()))
    else:
        _tell(folder, report)
    return Exit.DONE if report.finished else Exit.INTERRUPTED


async def _run(folder: Path, options: DemoOptions, face: Interruptible) -> DemoReport:
    async with face.heard():
        return await run_demo(folder, options, face)


def _tell(folder: Path, report: DemoReport) -> None:
    from rich.console import Console

    # Not on a terminal a table would be cut at 80 columns; a file or a pager can take what the notes need.
    console = Console(width=None if sys.stdout.isatty() else 160, highlight=False, no_color=not colours_wanted())
    with console.capture() as drawn:
        console.print(table_of(report, console.width))
    print("\n".join(line.rstrip() for line in drawn.get().splitlines()))
    done = "The day is done and closed." if report.finished else "The day was cut short; call the demo again to go on."
    print(f"\n{done} Everything is in {folder}.")
    print(f"A unit's log:  benchday unit SERIAL --day {folder}")
